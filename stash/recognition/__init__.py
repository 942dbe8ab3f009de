"""Which fabric of a stash a scrap is of."""
