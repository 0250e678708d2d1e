"""Work in the background: setting the letters of a round."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.domain.letters import (
    CHUNK,
    PRINT_KIND,
    bind_round,
    chunk_count,
    set_chunk,
)
from campaigns.models import LetterRound
from dealership.domain.jobs import handles


if TYPE_CHECKING:
    from dealership.domain.jobs import JobRun


@handles(PRINT_KIND, words=gettext_lazy("Setting letters"))
def set_letters(run: JobRun, *, round_id: int) -> dict[str, Any]:
    """Set a round chunk after chunk, then bind it; what is set is not set again."""
    letter_round = LetterRound.objects.select_related("campaign", "store", "text").get(
        pk=round_id
    )
    total = letter_round.letters.count()
    if not letter_round.pdf:
        for number in range(chunk_count(letter_round)):
            run.progress(min(number * CHUNK, total), total, _("letters set"))
            set_chunk(letter_round=letter_round, number=number)
        run.progress(total, total, _("letters set; binding them"))
    sheets = bind_round(letter_round=letter_round)
    return {"letters": total, "sheets": sheets}
