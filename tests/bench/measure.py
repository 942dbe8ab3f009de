"""How long a measurement takes and how much memory: ``python -m tests.bench.measure [--runs 3]``.

On the samples (12 megapixels, JPEG), warm, beside the least that any such program does in the same run: Pillow decodes
the photo and OpenCV warps it once. Every answer is held against the print's true repeat before its time counts.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from tests.makers.samples import DECKCHAIR, FOLDER
from vision.measure import measure_photo
from vision.photo import read_photo

#: The answer must be this near the true repeat for its time to count.
RIGHT_SHARE = 0.01


def measured(path: Path) -> None:
    """Open and measure a photo. Raises AssertionError where the repeat is not right."""
    main = measure_photo(read_photo(path)).measurement.main
    across = main.print.across if main.print else None
    assert across is not None, f"{path.name}: no repeat"
    off = across.value / DECKCHAIR.repeat_mm - 1
    assert abs(off) <= RIGHT_SHARE, f"{path.name}: the repeat is off by {100 * off:.2f} %"


def baseline(path: Path) -> None:
    """Decode with Pillow, warp once with OpenCV, at full size."""
    with Image.open(path) as image:
        rgb = np.asarray(image.convert("RGB"))
    mapping = np.array([[1.01, 0.02, -12.0], [-0.02, 1.01, 9.0], [1e-6, 2e-6, 1.0]])
    cv2.warpPerspective(rgb, mapping, (rgb.shape[1], rgb.shape[0]), flags=cv2.INTER_LINEAR)


def seconds(job: Callable[[Path], None], path: Path, runs: int) -> float:
    """The median of several runs, after one that does not count."""
    job(path)
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        job(path)
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def peak_mb(job: str, path: Path) -> float:
    """The largest resident memory of a fresh process that does one job once, MB.

    Linux counts to a process what its parent held when it was started: call this before anything large is done here.
    """
    command = [sys.executable, "-m", "tests.bench.measure", "--once", job, str(path)]
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return float(said.split()[-1])


def once(job: str, path: Path) -> None:
    """One job in this process; prints the largest resident memory so far, MB."""
    {"measure": measured, "baseline": baseline}[job](path)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(peak / (1e6 if sys.platform == "darwin" else 1024))  # bytes there, kilobytes elsewhere


def main() -> None:
    """Print a line a photo, then the medians."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "photos", nargs="*", type=Path, help="photographs of the deck-chair stripe instead of the samples"
    )
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--once", choices=("measure", "baseline"))
    options = parser.parse_args()
    if options.once:
        once(options.once, options.photos[0])
        return
    photos = options.photos or sorted(FOLDER.glob("*.jpg"))
    peaks = [(peak_mb("measure", path), peak_mb("baseline", path)) for path in photos]
    ours, theirs = [], []
    print(f"{'photo':<26}{'measured':>10}{'baseline':>10}{'ratio':>8}{'peak MB':>10}{'baseline MB':>13}")
    for path, (most, least) in zip(photos, peaks, strict=True):
        ours.append(seconds(measured, path, options.runs))
        theirs.append(seconds(baseline, path, options.runs))
        ratio = ours[-1] / theirs[-1]
        print(
            f"{path.name:<26}{ours[-1]:>8.2f} s{theirs[-1]:>8.2f} s{ratio:>8.1f}{most:>10.0f}{least:>13.0f}", flush=True
        )
    ratio = statistics.median(a / b for a, b in zip(ours, theirs, strict=True))
    most = max(peak for peak, _ in peaks)
    print(f"{'median':<26}{statistics.median(ours):>8.2f} s{statistics.median(theirs):>8.2f} s{ratio:>8.1f}")
    print(f"most memory {most:.0f} MB; goals: median 1.5 s, 1000 MB")


if __name__ == "__main__":
    main()
