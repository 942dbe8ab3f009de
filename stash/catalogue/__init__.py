"""The only room with SQL: what is kept, how it changes, and how it is taken back."""
