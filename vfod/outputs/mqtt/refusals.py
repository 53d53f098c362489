"""Why a broker cannot be used, in a sentence with its remedy.

Reason codes: MQTT 3.1.1, table 3.1, and MQTT 5.0, section 2.4. Verification errors: X509_V_ERR_* of
OpenSSL (X509_STORE_CTX_get_error(3)).
"""

import ssl

from aiomqtt.exceptions import MqttConnectError

from vfod.errors import DoorError

#: Reason of a failure: the broker said no.
REFUSED = "refused"

#: Words in the library's text for a code, and what to do.
_REMEDIES = (
    ("protocol version", "take a broker that speaks MQTT 3.1.1"),
    ("identifier", "give this daemon another name under mqtt"),
    ("unavailable", "it is tried again all the time"),
)

_EXPIRED, _NOT_YET = 10, 9
_OTHER_HOST = (62, 64)


def refused(where: str, error: MqttConnectError) -> DoorError:
    """The broker said no."""
    says = str(error)
    remedy = next(
        (remedy for words, remedy in _REMEDIES if words in says.lower()),
        "look at user and password_file under mqtt, and at what the broker lets that user do",
    )
    return DoorError(f"the MQTT broker at {where} refuses: {says}", remedy=remedy, reason=REFUSED)


def without_tls(where: str, error: OSError) -> DoorError:
    """What answers there does not understand TLS."""
    reason = getattr(error, "reason", None) or error.strerror or error
    return DoorError(
        f"the MQTT broker at {where} does not speak TLS there: {reason}",
        remedy="write its TLS port under mqtt, commonly 8883, or leave tls out",
        reason="tls",
    )


def untrusted(where: str, host: str, error: ssl.SSLCertVerificationError) -> DoorError:
    """It speaks TLS, but shows a certificate that cannot be trusted."""
    if error.verify_code in (_EXPIRED, _NOT_YET):
        what = "has expired" if error.verify_code == _EXPIRED else "is not valid yet"
        remedy = "renew it at the broker, or set this machine's clock"
    elif error.verify_code in _OTHER_HOST:
        what = f"is not made for {host}"
        remedy = "write under mqtt the host that its certificate names, or make it a new one"
    else:
        what = f"cannot be trusted ({error.verify_message})"
        remedy = "name the authority that signed it as ca_file under mqtt: tls"
    return DoorError(
        f"the certificate of the MQTT broker at {where} {what}",
        remedy=remedy,
        reason="certificate",
    )
