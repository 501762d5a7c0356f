"""What every test run begins with."""

from __future__ import annotations

import contextlib
import os
import signal

from hypothesis import settings

# No deadlines, because the clock of a busy machine is no fault of the code. With CI set the examples are the
# same each time, so that a landing does not hang on luck; everywhere else each run draws new ones.
settings.register_profile("latchline", deadline=None, max_examples=60, derandomize="CI" in os.environ)
settings.register_profile("everyday", settings.get_profile("latchline"), max_examples=12)  # for `make check`
settings.load_profile("latchline")

# vcdvcd gives SIGPIPE its default action when it is imported, so that from then on a peer that closes its
# connection would end the whole test run without a word. Import it first, and take Python's own setting again.
with contextlib.suppress(ImportError, AttributeError):
    import vcdvcd  # noqa: F401 - imported for its effect, which is undone here

    signal.signal(signal.SIGPIPE, signal.SIG_IGN)

# A run started with `nohup`, or in the background of a script, ignores these two, and so would every program that
# the tests start and interrupt.
signal.signal(signal.SIGINT, signal.default_int_handler)
if hasattr(signal, "SIGHUP"):
    signal.signal(signal.SIGHUP, signal.SIG_DFL)
