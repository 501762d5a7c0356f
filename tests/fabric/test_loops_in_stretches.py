"""Long pieces are worked on in stretches of passes; where a stretch ends makes no difference."""

from __future__ import annotations

from dataclasses import fields
from unittest.mock import patch

import numpy as np
from hypothesis import given

import strategies
from latchline.checks import look
from latchline.checks.find import findings
from latchline.fabric import structure as module
from latchline.fabric.structure import floats, structure
from latchline.plan.model import Plan


@given(plan=strategies.plans())
def test_loops_floats_and_findings_are_the_same_in_short_stretches(plan: Plan) -> None:
    whole = structure(plan), floats(plan), findings(plan)
    for stretch in (1, 2, 5):
        with patch.object(module, "CHUNK_PASSES", stretch), patch.object(look, "CHUNK_PASSES", stretch):
            parts = structure(plan), floats(plan), findings(plan)
        assert (whole[0].drawn_by == parts[0].drawn_by).all()
        for field in fields(whole[1]):
            assert np.array_equal(getattr(whole[1], field.name), getattr(parts[1], field.name))
        assert whole[2] == parts[2]
