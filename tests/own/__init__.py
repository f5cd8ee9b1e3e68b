"""Our own behaviour and regressions."""
