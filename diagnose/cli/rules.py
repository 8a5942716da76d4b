"""Commands for rule authors: diagnose rules …"""

from __future__ import annotations

from diagnose.cli import rule_sum, rule_trials, rule_writing
from diagnose.cli.rules_common import app

__all__ = ["app", "rule_sum", "rule_trials", "rule_writing"]
