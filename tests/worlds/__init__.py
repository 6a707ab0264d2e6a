"""Worlds: bite frames made by other means than the program's own, to judge it by.

Nothing here but ``study`` and the tests imports the program or its demo. The head is somebody else's (CC0),
the crowns, the cameras, the rays, the sensor and the files are written anew, and a depth pixel is the mean of
many rays over its area, as an integrating sensor's is. The program reads the files, and is counted.

    python -m tests.worlds.study --world "wide grin,thin strip" --frames 24

A world is one entry of ``every.WORLDS``. To add one, write what is special about it:

    World(
        "noisy thin strip",
        why="a cheap sensor",
        modelled=True,
        mouth=THIN_STRIP,
        sensor=Sensor(noise_mm=0.8),
    )

``modelled`` says whether the program claims to allow for it. What is not said is drawn as in "wide grin":
a new head, bite, crowns, pose and offset for each seed.
"""

import os

# before numpy is loaded: threads inside small matrices cost more than they give
for _threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")
