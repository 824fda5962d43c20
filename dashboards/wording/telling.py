"""A finding told in full, line by line, for a terminal: what, why, how sure, what next and its cautions."""

from __future__ import annotations

from collections.abc import Iterator

from dashboards.views import FindingCard
from dashboards.wording import plain
from dashboards.wording.cautions import CAUTIONS
from dashboards.wording.checks import AS_TYPED_IN, cautions_first, check_words, open_checks
from dashboards.wording.kinds import kind_words
from dashboards.wording.sentences import judged_sentence, manual_words, power_sentence, why_sentence


def reasons(card: FindingCard) -> list[str]:
    """Return what stands behind a finding: likely causes, what power says, how much could be judged."""
    is_blind = card.kind == "not_assessable"
    judged = "" if is_blind else judged_sentence(card.assessable_share)
    why = why_sentence(card) if card.causes else ""
    return [words for words in (why, power_sentence(card), judged) if words]


def next_steps(card: FindingCard) -> Iterator[str]:
    """Yield the cautions, then what to check, in order; a step's own caution right behind it."""
    kind, manual = kind_words(card.kind), manual_words(card)
    codes = open_checks(card.checks or kind.checks, bool(manual.meaning))
    more = (*kind.cautions, *AS_TYPED_IN) if manual.check else kind.cautions
    for caution in cautions_first(codes, more):
        yield f"Caution: {CAUTIONS.get(caution, plain(caution))}"
    steps = [f"As the drive's manual says: {manual.check}."] if manual.check else []
    steps += [_with_caution(code) for code in codes]
    for place, step in enumerate(steps, 1):
        yield f"Next, {place}: {step}"


def _with_caution(code: str) -> str:
    words = check_words(code)
    own = [CAUTIONS.get(each, plain(each)) for each in words.cautions if each not in cautions_first([code])]
    return " ".join([words.text, *(f"Caution: {each}" for each in own)])
