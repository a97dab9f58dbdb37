"""The user interface: the command line, the pages and the report."""

import os

# The matrices are small, so a second thread gains nothing; on busy processors the threads of the
# linear algebra wait for one another a hundred times longer than they compute. numpy reads this
# when it is first imported, so it is set before anything else.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
