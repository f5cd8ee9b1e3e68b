"""Speed beside a rival in the same run; never run by default."""

import os

# As the command does, and before numpy is loaded; rivals in the same run get it too.
os.environ.setdefault("NUMPY_MADVISE_HUGEPAGE", "0")
