"""Scenes: invented heads with teeth, a depth sensor and clicks, for the demo and for coverage studies.

The fast path, all in memory (no picture, a window round the mouth):

    from demo_bite.scene import Settings, Sensor, Mouth, WIDE_GRIN, THIN_STRIP, simulate, as_bite_frame
    settings = Settings(t_mm=1.4, mouth=THIN_STRIP, sensor=Sensor(smoothing_px=3.0))
    frame = simulate(np.random.default_rng(7), settings)
    frame.truth.t_mm              # planted offset, forward positive: solved teeth + t * forward = true teeth
    bundle = as_bite_frame(frame) # bite.files.bundle.BiteFrame, nothing touches the disk

    simulate(rng, settings=None, *, anatomy=None) -> SimulatedFrame
    as_bite_frame(simulated, *, name="simulated", performer="nobody", device=BENCH_DEPTH, dial=DIAL,
                  dial_now=0.0) -> BiteFrame

``Settings`` (frozen; change with dataclasses.replace): t_mm, right_mm, up_mm; mouth (WIDE_GRIN, EMBRASURE,
THIN_STRIP); bite (overjet_mm, overbite_mm, ...; None draws from published spreads); sensor (smoothing_px,
noise_mm, correlation_px, gross_share, gross_mm, *_hole_share, enamel_bias_mm, unit_mm, size and focal
length); shot (distance_mm, turn_deg, nod_deg, tilt_deg, views, baseline_mm, depth_camera_shift_mm,
region_mm); solve (waves_mm, wave_length_mm, shift_sd_mm, turn_sd_deg, lip_error_mm); clicks (mesial_px,
distal_px, landmark_px); picture (None: no picture; texture: for pairs to be matched); detail; depth
(False: no map). With solve waves, shift
and turn 0 the solved head differs from the true one by the planted offset alone.

``SimulatedFrame``: true_mm, solved_mm (reference camera frame), rest_mm (own axes, y up), faces, face_part,
groups, corner_vertices, landmark_vertices, forward_rest, up_rest, views (name, camera, corners, landmarks,
image), depth_mm, depth_camera, truth (t_mm, right_mm, up_mm, enamel_bias_mm, smoothing_px, overjet_mm,
overbite_mm, forward, right, up, corners_mm, camera_from_head, solved_from_true), head, settings.
"""

from demo_bite.scene.anatomy import Anatomy, draw_anatomy
from demo_bite.scene.bundle import BENCH_DEPTH, DIAL, as_bite_frame
from demo_bite.scene.settings import (
    EMBRASURE,
    THIN_STRIP,
    WIDE_GRIN,
    Beard,
    Bite,
    Clicks,
    Detail,
    Mouth,
    PictureSettings,
    Sensor,
    Settings,
    Shot,
    SolveError,
    Texture,
)
from demo_bite.scene.simulate import SimulatedFrame, SimulatedView, Truth, simulate

__all__ = [
    "BENCH_DEPTH",
    "DIAL",
    "EMBRASURE",
    "THIN_STRIP",
    "WIDE_GRIN",
    "Anatomy",
    "Beard",
    "Bite",
    "Clicks",
    "Detail",
    "Mouth",
    "PictureSettings",
    "Sensor",
    "Settings",
    "Shot",
    "SimulatedFrame",
    "SimulatedView",
    "SolveError",
    "Texture",
    "Truth",
    "as_bite_frame",
    "draw_anatomy",
    "simulate",
]
