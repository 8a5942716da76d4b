"""A diagnosis: the opened rule base, a case, and everything deduced and judged of it, each worked out once when asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache

from diagnose.casefile.model import Case
from diagnose.inference.run import Inference, RuleBase, deduce
from diagnose.judgement.judge import Judgement, judge
from diagnose.judgement.network import Network, build
from diagnose.quantities.compute import compute
from diagnose.quantities.model import Quantity


@lru_cache(maxsize=8)
def network_of(base: RuleBase) -> Network:
    """The network of a rule base, built once."""
    return build(base.knowledge)


@dataclass(frozen=True, eq=False)
class Diagnosis:
    """One case under one rule base. `told`: findings taken as given (FINDING or FINDING@POSITION to present, absent)."""

    case: Case
    base: RuleBase
    told: Mapping[str, str] | None = None

    @classmethod
    def of(cls, inference: Inference, base: RuleBase) -> Diagnosis:
        """The diagnosis of what was deduced already, were it from a record altered in thought."""
        made = cls(inference.case, base)
        vars(made).update(quantities=inference.quantities, inference=inference)
        return made

    @property
    def net(self) -> Network:
        return network_of(self.base)

    @cached_property
    def quantities(self) -> tuple[Quantity, ...]:
        return compute(self.case, self.base.knowledge)

    @cached_property
    def inference(self) -> Inference:
        return deduce(self.case, self.base, self.quantities, self.told)

    @cached_property
    def judgements(self) -> tuple[Judgement, ...]:
        """One for each seal position of the case, in order."""
        return judge(self.inference, self.net)

    def at(self, position: str) -> Judgement:
        """The judgement at a position. Raises StopIteration."""
        return next(j for j in self.judgements if j.position == position)
