"""Flow curves with known parameters for tests."""

import numpy as np

# Rates and the two curves constructed from them: Herschel-Bulkley with 20 Pa, 5 Pa s^n, n = 0.45, and Casson with the
# parameters of a milk chocolate that a glossary of rheology prints (14.28 Pa, 1.863 Pa s). Exact by algebra.
RATES = np.array([0.1, 1, 10, 50, 100, 500, 1000])
HERSCHEL_BULKLEY = (20.0, 5.0, 0.45)
HERSCHEL_BULKLEY_STRESS = np.array([21.774067, 25, 34.091915, 49.074115, 59.716412, 101.94199, 131.936057])
CASSON = (14.28, 1.863)
CASSON_STRESS = np.array([17.728424, 26.458743, 65.531245, 180.37332, 303.737433, 1176.447033, 2203.492446])


def herschel_bulkley(rates, yield_stress=20.0, consistency=5.0, index=0.45):
    return yield_stress + consistency * rates**index


def casson(rates, yield_stress=14.28, viscosity=1.863):
    return (np.sqrt(yield_stress) + np.sqrt(viscosity * rates)) ** 2


def noisy(rng, stress, share=0.02):
    return stress * np.exp(rng.normal(0, share, np.shape(stress)))
