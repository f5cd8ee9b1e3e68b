"""Speed beside a rival in the same run; never run by default."""
