"""What people touch: the command line, the pages and the report."""

import os

# Matrices here are small: a second thread gains nothing, and where other work wants the
# processors the threads of the linear algebra wait for one another a hundred times longer than
# they reckon. It is read when numpy is first imported, so it stands before all else.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
