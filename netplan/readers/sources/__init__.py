"""Where layers come from: files, folders, databases."""
