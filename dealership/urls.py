"""Addresses of the house itself."""

from dealership.views import chosen_store, health, jobs, settings, staff


app_name = "dealership"
urlpatterns = [
    *chosen_store.patterns,
    *health.patterns,
    *settings.patterns,
    *staff.patterns,
    *jobs.job_urlpatterns,
]
