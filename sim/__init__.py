"""bandfloor: virtual builds of low-band receive amplifiers, run through ngspice and judged."""
