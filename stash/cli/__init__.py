"""The command line: reads words, calls one action, prints its answer."""
