"""What random errors of an array's elements do to its null, and how large they may be.

Independent errors of every element, amplitude rms a and phase rms p in radian, s² = a² + p², leave in a null the mean
power s² K below the wanted signal (Ruze, Physical limitations on antennas, MIT 1952, and later array texts), K from
:func:`sim.array.pattern.error_sensitivity`. That power is close to exponentially distributed: its median is 0.693 of
the mean, and 95 % of arrays lie below ln 20 = 3.00 times the mean. Amplitude and phase are equally harmful.
"""

import numpy as np

CONFIDENCE = 0.95
"""Share of arrays that keep what is promised."""
NEPER_DB = 20 / np.log(10)
"""A relative error of 1 as a step in level. [dB]"""


def allowed_rms(sensitivity, depth_db: float):
    """Largest rms error of each element for a null of a depth, in 95 % of arrays.

    Parameters
    ----------
    sensitivity : array_like
        K.
    depth_db : float
        Below the wanted signal. [dB]

    Returns
    -------
    gain_db, phase_deg : ndarray
        Of both together, equally shared between them. [dB], [degree]
    """
    total = 10 ** (-depth_db / 20) / np.sqrt(np.asarray(sensitivity) * -np.log(1 - CONFIDENCE))
    each = total / np.sqrt(2)
    return each * NEPER_DB, np.rad2deg(each)


def floor(sensitivity, gain_rms_db, phase_rms_deg):
    """Mean power that errors leave in a null, over that of the wanted signal; times -ln(0.05) in the 95th percentile.

    Parameters
    ----------
    sensitivity : array_like
        K.
    gain_rms_db, phase_rms_deg : array_like
        Of each element. [dB], [degree]
    """
    return ((np.asarray(gain_rms_db) / NEPER_DB) ** 2 + np.deg2rad(phase_rms_deg) ** 2) * np.asarray(sensitivity)
