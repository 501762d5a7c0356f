"""`make bench`: every measured figure, as ratios within this one run where that is possible.

Each module beside this one has `rows()`, which measures and returns (what, measured, aim). Name some on
the command line to run only those.
"""

from __future__ import annotations

import importlib.util
import platform
import sys
from pathlib import Path

HERE = Path(__file__).parent


def main(wanted: list[str]) -> None:
    sys.path.insert(0, str(HERE.parent))
    print(
        f"Python {platform.python_version()} on {platform.machine()}. Times are of this machine, now; ratios carry over."
    )
    for path in sorted(HERE.glob("*.py")):
        if path.stem.startswith("_") or (wanted and path.stem not in wanted):
            continue
        spec = importlib.util.spec_from_file_location(f"bench_{path.stem}", path)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        print(f"\n{path.stem}")
        for what, measured, aim in module.rows():
            print(f"  {what:<66} {measured:>44}   {aim}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
