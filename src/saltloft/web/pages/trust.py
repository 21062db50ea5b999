"""How a phone comes to trust this house: its authority's certificate, once, and the number to compare."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltloft.foundation.errors import UnknownName
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import serving
from saltloft.web.addresses import outside_address, qr_picture, reaches_phones

routes = APIRouter(prefix="/trust")


@dataclass(frozen=True)
class Steps:
    """What to tap on one sort of device."""

    device: str
    steps: tuple[str, ...]


def steps_of(title: str) -> tuple[Steps, ...]:
    """Steps by device. Menus move between versions: the words are those of common practice, no source."""
    return (
        Steps(
            say("iPhone, iPad"),
            (
                say("Tap the certificate below and allow the download of a profile."),
                say("Settings, General, VPN & Device Management: install the profile {title}.", title=title),
                say("Settings, General, About, Certificate Trust Settings: switch {title} on.", title=title),
            ),
        ),
        Steps(
            say("Android"),
            (
                say("Tap the certificate below; it is kept among the downloads."),
                say("Settings, Security, Encryption & credentials, Install a certificate, CA certificate."),
                say("Choose {file} among the downloads.", file="saltloft-house.crt"),
            ),
        ),
        Steps(
            say("A desk"),
            (
                say("Save the certificate below."),
                say(
                    "Take it in among the authorities: in the browser’s own settings for certificates, or in "
                    "those of the system."
                ),
            ),
        ),
    )


@routes.get("")
def trust_page(request: Request) -> Response:
    """What trusting means, the QR of this page for phones, the fingerprint and the steps."""
    house: House = request.app.state.house
    found = serving.authority(house.folder)
    address = outside_address(request, "/trust")
    page: Response = request.app.state.pages.render(
        request,
        "trust.html",
        sentence=_sentence(found is not None, reaches_phones(request)),
        authority=found,
        address=address,
        picture=qr_picture(address, say("Address of this page")) if reaches_phones(request) else None,
        steps=steps_of(found.title) if found else (),
    )
    return page


def _sentence(made: bool, reached: bool) -> str:
    if not made or not reached:
        return say(
            "The house answers on this computer only. Start it with: saltloft serve --lan. "
            "Then phones reach it by HTTPS."
        )
    return say(
        "Each phone and desk trusts this house once. Until then its browser warns, since no outside "
        "authority knows a computer in your office."
    )


@routes.get("/saltloft-house.crt")
def certificate(request: Request) -> Response:
    """The authority's certificate; it is no secret."""
    house: House = request.app.state.house
    found = serving.authority(house.folder)
    if found is None:
        raise UnknownName(say("certificate"), "saltloft-house.crt", ())
    return Response(
        found.der,
        media_type="application/x-x509-ca-cert",
        headers={"Content-Disposition": 'attachment; filename="saltloft-house.crt"'},
    )
