"""Addresses of vehicles and lists of them."""

from vehicles.views import vehicle_lists, vehicles


app_name = "vehicles"
urlpatterns = [*vehicle_lists.patterns, *vehicles.patterns]
