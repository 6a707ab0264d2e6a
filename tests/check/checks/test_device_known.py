"""A missing device table is told with what it costs; nothing compared is not called fine."""

from types import SimpleNamespace

from bite.check.checks.device_known import device_known
from bite.check.checks.same_device import same_device
from bite.check.finding import Severity
from bite.files.depth import Matching
from bite.files.device import Device

FIT = SimpleNamespace(systematic_sd_mm=0.2134)


def test_a_table_is_fine_and_a_guess_is_a_note_with_its_cost() -> None:
    whole = Device("bench", "bench.device.toml", smoothing_px=2.0, enamel_bias_mm=0.15)
    assert device_known(whole, FIT).severity is Severity.OK
    for lacks in (Device("bench", "none"), Device("bench", "b.device.toml", smoothing_px=2.0)):
        found = device_known(lacks, FIT)
        assert found.severity is Severity.NOTE and "0.21 mm" in found.text and "bite device" in found.todo
        assert ("its smoothing" in found.text) == (lacks.smoothing_px is None)


def test_a_pair_of_views_has_no_sensor_to_be_measured() -> None:
    bare = Device("head-pair", "none")
    on_skin = device_known(bare, FIT, Matching(("left", "right"), enamel_used=False))
    assert on_skin.severity is Severity.OK and "left and right" in on_skin.text
    on_enamel = device_known(bare, FIT, Matching(("left", "right")))
    assert on_enamel.severity is Severity.NOTE and "0.21 mm" in on_enamel.text
    assert "bite device" not in on_enamel.todo and "smoothing" not in on_enamel.text
    known = Device("head-pair", "pair.device.toml", enamel_bias_mm=0.1)
    assert device_known(known, FIT, Matching(("left", "right"))).severity is Severity.OK


def test_where_nothing_was_compared_that_is_not_called_fine() -> None:
    assert same_device("bench", None).severity is Severity.NOTE
    assert same_device("bench", "bench").severity is Severity.OK
    assert same_device("bench", "phone").severity is Severity.WARN
