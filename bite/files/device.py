"""Device tables: what is known beforehand of a class of depth camera."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bite.errors import InputError
from bite.files.tables import check_form, nearest, read_toml, shown

if TYPE_CHECKING:
    from bite.files.forms import DeviceForm, FilterName

SUFFIX = ".device.toml"


@dataclass(frozen=True, slots=True)
class Device:
    """Priors and starting values of a device; None where its table does not say.

    ``smoothing_px`` is the sd of the filter's window, which for a Gaussian and a box is that of the blur: a
    box of w pixels has sqrt((w^2 - 1) / 12). ``filter`` is "gauss", "box", "median" or "edge-preserving".
    ``source`` says where it was read.
    """

    name: str
    source: str
    smoothing_px: float | None = None
    smoothing_sd_px: float | None = None
    enamel_bias_mm: float | None = None
    enamel_bias_sd_mm: float | None = None
    noise_mm: float | None = None
    correlation_px: float | None = None
    filter: FilterName | None = None


def read_device_file(path: Path, name: str) -> Device:
    """Read one device of a file that holds [device.NAME] tables, or the keys of a single device at its top.

    Raises
    ------
    InputError
        When the file has tables but none of that name, or for an unknown key or a value out of range.
    """
    from bite.files.forms import DeviceForm

    path = Path(path)
    table = read_toml(path)
    if "device" not in table:
        return device_from_form(name, path.name, check_form(path, table, DeviceForm))
    for key in table:
        if key != "device":
            raise InputError(
                path, shown(key, quote=False), "stands beside [device.NAME] tables", "put it inside one"
            )
    devices = devices_from_tables(table["device"], path)
    if name not in devices:
        raise InputError(path, "device", f"no table for {shown(name)}", nearest(name, devices))
    return devices[name]


def devices_from_tables(tables: Mapping[str, Any], source: str | Path) -> dict[str, Device]:
    """Read the [device.NAME] tables of a file that is already parsed.

    Parameters
    ----------
    tables : mapping from device name to its table
    source : path or str
        The file they came from, for messages; its last part becomes the devices' ``source``.

    Raises
    ------
    InputError
        For an unknown key or a value out of range.
    """
    from bite.files.forms import DeviceForm

    if not isinstance(tables, Mapping):
        mend = "write tables headed [device.NAME]"
        raise InputError(source, "device", f"got {shown(tables)}, needed tables", mend)
    return {
        str(name): device_from_form(
            str(name), Path(source).name, check_form(Path(source), table, DeviceForm, inside=f"device.{name}")
        )
        for name, table in tables.items()
    }


def device_from_form(name: str, source: str, form: DeviceForm) -> Device:
    """Name a checked device table."""
    return Device(
        name,
        source,
        form.smoothing_px,
        form.smoothing_sd_px,
        form.enamel_bias_mm,
        form.enamel_bias_sd_mm,
        form.noise_mm,
        form.correlation_px,
        form.filter,
    )
