"""What is set inside devices, in words."""

from __future__ import annotations

from interlock.explain.conditions import number, plain_interval
from interlock.explain.document import Item, Plain
from interlock.explain.measured import why
from interlock.explain.phrases import Phrase, Value, say
from interlock.explain.tables import LIMITS, OWN_LIMITS
from interlock.explain.words import Say
from interlock.scheme.model import Device, DeviceLimit, Scheme
from interlock.scheme.units import time_text, value_text


def devices(scheme: Scheme) -> list[Item]:
    """Each device with its settings."""
    return [_device(scheme, device) for device in scheme.devices.values()]


def _device(scheme: Scheme, device: Device) -> Item:
    sentences = [say(Say.DEVICE_WHAT, what=device.what.rstrip(". "))] if device.what else []
    if device.cells > 1:
        sentences.append(say(Say.DEVICE_CELLS, cells=str(device.cells)))
    if device.remote_enabled and device.verified_at:
        sentences.append(say(Say.DEVICE_REMOTE, where=device.verified_at.rstrip(". ")))
    elif device.remote_enabled is not None:
        sentences.append(say(Say.DEVICE_UNVERIFIED if device.remote_enabled else Say.DEVICE_DISABLED))
    data: dict[str, Plain] = {
        "cells": device.cells,
        "remote_enabled": device.remote_enabled,
        "verified_at": device.verified_at,
        "settings": {
            str(limit.which): {
                "quantity": limit.quantity,
                "value": number(limit.value),
                "compare": str(limit.compare) if limit.compare else None,
                "delay_s": limit.delay.us / 1_000_000,
                "truth": plain_interval(limit.truth),
            }
            for limit in device.limits
        },
    }
    points = tuple(_limit(scheme, limit) for limit in device.limits)
    return Item(device.path, device.path, (*sentences, *why(device.why)), points, data)


def what_is_set(scheme: Scheme, limit: DeviceLimit) -> Value:
    """What is set, in the device's own terms: `55.2 V`, `below 48 V for 3 s`."""
    said: Value = value_text(limit.value, scheme.quantities[limit.quantity].kind)
    if limit.compare:
        said = say(LIMITS[limit.compare], value=said)
    return say(Say.LIMIT_LASTING, limit=said, time=time_text(limit.delay.us)) if limit.delay.us else said


def _limit(scheme: Scheme, limit: DeviceLimit) -> Phrase:
    kind = scheme.quantities[limit.quantity].kind
    return say(
        Say.DEVICE_LIMIT,
        which=say(OWN_LIMITS[limit.which]),
        set=what_is_set(scheme, limit),
        quantity=limit.quantity,
        low=value_text(limit.truth.low, kind),
        high=value_text(limit.truth.high, kind),
    )
