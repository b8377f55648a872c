"""
The peer library, PyDynamic, in an environment of its own: only its FIR coefficients come back.

PyDynamic (PTB and others, LGPL-3.0) designs inverse filters by least squares (Elster, Link and Bruns 2007,
Meas. Sci. Technol. 18:3682, doi:10.1088/0957-0233/18/12/002). It is installed into the user's cache folder,
never among the project's dependencies.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

__all__ = ["fir_taps"]

SCRIPT = """
import contextlib, io, json, sys
import numpy as np
from PyDynamic.model_estimation.fit_filter import LSFIR
out = []
for ratio, zeta in json.load(sys.stdin):
    f = np.linspace(0.0, min(0.4, 3.0 / ratio), 200)
    s = 1j * f * ratio
    h = 1 / (1 + 2 * zeta * s + s * s)
    with contextlib.redirect_stdout(io.StringIO()):
        b, _ = LSFIR(np.r_[h.real, h.imag], 16, f, 1.0, 8, inv=True, verbose=False)
    out.append([float(x) for x in b])
print(json.dumps(out))
"""


def fir_taps(designs: list[tuple[float, float]], folder: Path) -> list[NDArray[np.float64]] | str:
    """
    Design inverse filters with the peer library.

    Parameters
    ----------
    designs : list of (float, float)
        Rate over natural frequency, and damping ratio.
    folder : Path
        Where the environment is, or is made.

    Returns
    -------
    list of ndarray, or str
        Seventeen taps a design; or why there are none.
    """
    python = folder / "bin" / "python"
    try:
        if not python.exists():
            subprocess.run([sys.executable, "-m", "venv", str(folder)], check=True, capture_output=True)
        check = subprocess.run([str(python), "-c", "import PyDynamic"], capture_output=True)
        if check.returncode:
            subprocess.run(
                [str(python), "-m", "pip", "install", "--quiet", "PyDynamic==2.5.1"],
                check=True,
                capture_output=True,
                timeout=300,
            )
        done = subprocess.run(
            [str(python), "-W", "ignore", "-c", SCRIPT],
            input=json.dumps(designs),
            capture_output=True,
            text=True,
            check=True,
            timeout=300,
        )
    except (OSError, subprocess.SubprocessError) as error:
        detail = getattr(error, "stderr", b"") or b""
        text = detail.decode() if isinstance(detail, bytes) else detail
        return f"{type(error).__name__}: {text.strip().splitlines()[-1] if text.strip() else error}"
    return [np.array(taps) for taps in json.loads(done.stdout)]
