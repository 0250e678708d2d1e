"""Addresses of the work."""

from campaigns.views import (
    account,
    appointments,
    campaigns,
    claims,
    counter,
    exposure,
    find,
    first_batch,
    letter_checks,
    letter_texts,
    letters,
    population,
    proofs,
    repairs,
    replenishment,
    reports,
    sharing,
    statement,
    today,
    visits,
)


app_name = "campaigns"
urlpatterns = [
    *today.patterns,
    *find.patterns,
    *campaigns.patterns,
    *population.patterns,
    *first_batch.patterns,
    *counter.patterns,
    *visits.patterns,
    *appointments.patterns,
    *repairs.patterns,
    *claims.patterns,
    *letter_checks.patterns,
    *letter_texts.patterns,
    *letters.patterns,
    *reports.patterns,
    *sharing.patterns,
    *replenishment.patterns,
    *account.patterns,
    *statement.patterns,
    *exposure.patterns,
    *proofs.patterns,
]
