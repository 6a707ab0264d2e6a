"""The device table that a learned enamel bias is written into keeps what else is known of the device."""

from __future__ import annotations

import tomllib
from types import SimpleNamespace

import pytest

from bite.cast.compared.learn import learned_tables
from bite.files.device import Device, devices_from_tables


@pytest.mark.parametrize("kind", ["gauss", "median", None])
def test_the_other_keys_are_carried_over(kind: str | None) -> None:
    values = {"smoothing_px": 1.4, "smoothing_sd_px": 0.1, "noise_mm": 0.3, "correlation_px": 1.0}
    known = Device("a b", "x", filter=kind, **values)
    mean = SimpleNamespace(mean=0.8, k=4)
    summary = SimpleNamespace(
        device="a b", learned=SimpleNamespace(value_mm=0.9, sd_mm=0.05), shift=SimpleNamespace(shift=mean)
    )
    text = learned_tables([summary], {"a b": known})
    again = devices_from_tables(tomllib.loads(text)["device"], "y")["a b"]
    assert (again.enamel_bias_mm, again.enamel_bias_sd_mm) == (0.9, 0.05)
    for key in (*values, "filter"):
        assert getattr(again, key) == getattr(known, key)
