"""The way in without photographs or files: plain questions, and cloth as a person describes it. It does not print."""
