"""The catalogue and the stash document: nothing is lost, nothing is half done, everything can be taken back."""
