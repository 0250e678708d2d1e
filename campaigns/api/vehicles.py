"""Asking for one vehicle and its open campaigns."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING, Any, cast

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.response import Response
from rest_framework.views import APIView

from campaigns.models.words import CLASS_WORDS, PAYER_WORDS
from campaigns.queries.vehicle_answer import (
    OpenCampaign,
    PartFree,
    VehicleAnswer,
    vehicle_answer,
)
from campaigns.rules.eligibility import Cover
from campaigns.rules.lifecycle import STILL_OPEN
from dealership.api.problems import ProblemSerializer
from vehicles.models.vehicle import STANDING_WORDS
from vehicles.rules.vin import Grade, judge_vin


if TYPE_CHECKING:
    from rest_framework.request import Request

    from dealership.models import StaffMember


class PartFreeSerializer(serializers.Serializer[object]):
    """A part of the remedy."""

    number = serializers.CharField()
    name = serializers.CharField()
    pieces = serializers.IntegerField(help_text="Pieces that this vehicle takes.")
    free_now = serializers.IntegerField(help_text="Pieces free on the store's shelf.")


class OpenCampaignSerializer(serializers.Serializer[object]):
    """A campaign that still wants work on this vehicle."""

    code = serializers.CharField(help_text="The store group's own number.")
    maker_number = serializers.CharField()
    regulator_number = serializers.CharField(allow_blank=True)
    campaign_class = serializers.ChoiceField(choices=[c.value for c in CLASS_WORDS])
    title = serializers.CharField()
    state = serializers.ChoiceField(choices=sorted(s.value for s in STILL_OPEN))
    stop_sale = serializers.BooleanField(
        help_text="New stock must not be handed over before the remedy."
    )
    cover = serializers.ChoiceField(choices=[c.value for c in Cover])
    payer = serializers.ChoiceField(
        choices=[p.value for p in PAYER_WORDS],
        allow_null=True,
        help_text="null while a fact that decides it is missing.",
    )
    remedy = serializers.CharField(
        allow_null=True,
        help_text="null while the variant cannot be told from the facts on file.",
    )
    parts = PartFreeSerializer(many=True, allow_null=True)
    parts_free_now = serializers.BooleanField(
        allow_null=True,
        help_text=(
            "Whether every part stands free on the shelf of the vehicle's store."
            " No promise: others may wait for them. A visit is booked at the counter."
        ),
    )


class VehicleAnswerSerializer(serializers.Serializer[object]):
    """A vehicle and what is open on it."""

    vin = serializers.CharField(min_length=17, max_length=17)
    store = serializers.CharField(help_text="Code of the store that looks after it.")
    model_year = serializers.IntegerField(allow_null=True)
    line = serializers.CharField(allow_blank=True)
    engine = serializers.CharField(allow_blank=True)
    standing = serializers.ChoiceField(choices=[s.value for s in STANDING_WORDS])
    odometer_miles = serializers.IntegerField(allow_null=True)
    odometer_on = serializers.DateField(allow_null=True)
    open_campaigns = OpenCampaignSerializer(many=True)


def _problem(words: str) -> OpenApiResponse:
    return OpenApiResponse(ProblemSerializer, description=words)


class VehicleView(APIView):
    """One vehicle."""

    @extend_schema(
        operation_id="vehicle",
        summary="A vehicle and its open campaigns",
        parameters=[
            OpenApiParameter(
                "vin",
                {
                    "type": "string",
                    "minLength": 17,
                    "maxLength": 17,
                    "pattern": "^[A-HJ-NPR-Za-hj-npr-z0-9]{17}$",
                },
                OpenApiParameter.PATH,
                description="The VIN, 17 characters (49 CFR 565, ISO 3779).",
            )
        ],
        responses={
            200: VehicleAnswerSerializer,
            (400, "application/problem+json"): _problem("Not a VIN, and why."),
            (401, "application/problem+json"): _problem("No key, or a wrong one."),
            (403, "application/problem+json"): _problem("The role may not ask."),
            (404, "application/problem+json"): _problem(
                "No such vehicle in the stores of the person whose key it is."
            ),
            (429, "application/problem+json"): _problem("Too many questions."),
        },
    )
    def get(self, request: Request, vin: str) -> Response:
        """Give the vehicle, and each campaign that still wants work on it."""
        verdict = judge_vin(vin)
        if verdict.grade is Grade.REJECT:
            raise ValidationError(
                " ".join(reason.sentence for reason in verdict.reasons)
            )
        answer = vehicle_answer(
            vin=verdict.vin,
            staff=cast("StaffMember", request.user),
            today=timezone.localdate(),
        )
        if answer is None:
            raise NotFound
        return Response(plain(answer))


# The serializers above say what an answer holds; a test keeps the two alike. Field by
# field they would take longer than the question itself.
_FIELDS: dict[type, tuple[str, ...]] = {
    kind: tuple(field.name for field in fields(kind))
    for kind in (VehicleAnswer, OpenCampaign, PartFree)
}


def plain(value: object) -> Any:  # noqa: ANN401 (what JSON can hold)
    """Give an answer, or a piece of one, as plain values."""
    if isinstance(value, tuple):
        return [plain(one) for one in value]
    names = _FIELDS.get(type(value))
    if names is None:
        return value
    return {name: plain(getattr(value, name)) for name in names}


patterns = [path("vehicles/<str:vin>/", VehicleView.as_view(), name="api_vehicle")]
