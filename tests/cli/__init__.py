"""The commands, as a person or a script calls them."""
