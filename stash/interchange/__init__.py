"""The stash as a document: ``stash/1`` read into fabrics and pieces and written out again. No file, no SQL."""
