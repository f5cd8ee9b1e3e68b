"""Papers: letters, sheets and the work pack as PDF, set by typst from templates and plain data."""
