"""What every test run begins with."""

from __future__ import annotations

import contextlib
import signal

# vcdvcd gives SIGPIPE its default action when it is imported, so that from then on a peer that closes its
# connection would end the whole test run without a word. Import it first, and take Python's own setting again.
with contextlib.suppress(ImportError, AttributeError):
    import vcdvcd  # noqa: F401 - imported for its effect, which is undone here

    signal.signal(signal.SIGPIPE, signal.SIG_IGN)
