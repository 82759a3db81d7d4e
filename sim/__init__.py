"""bandfloor: virtual builds of low-band receive amplifiers, run through ngspice and judged."""

import os

# More threads would not help arrays of this size: a fit takes a hundred times longer when threads of several processes
# wait for each other. And results must not depend on how many there are.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"
