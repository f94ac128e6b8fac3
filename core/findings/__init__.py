"""All that an analysis found, in one value: for figures, report, methods paragraph and pack."""

from .all import Findings
from .examples import Example, examples, pick
from .opening import completed, findings_of, opened_findings

__all__ = ["Example", "Findings", "completed", "examples", "findings_of", "opened_findings", "pick"]
