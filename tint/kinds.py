"""What is known of the anisotropy g of a pigment from its kind alone, before any casting of it.

References
----------
Measured: 0.56 for titanium dioxide in resin and 0.95 for silica (Tahir and Dainty 2005, J. Opt. A 7, 207; abstract
seen), 0.66 for titanium dioxide in PDMS at 824 nm (Wang 2026, TiO2 scattering phantom protocol, table 1; seen).
All else: Mie's theory for spheres of usual sizes in n = 1.41, with published indices (rutile: Devore 1951; hematite and
magnetite: Querry 1985; ZnO: Bond 1965; silica, alumina: Malitson 1965 and 1972; calcite: Ghosh 1999; soot: Dalzell and
Sarofim 1969); organic pigments, goethite, barium sulphate and ultramarine with indices from memory.
"""

from __future__ import annotations

# Mean and standard deviation of g over 400 to 700 nm, for a paste in silicone rubber. The first is measured in part,
# the others are judged from Mie's theory over the usual sizes.
KINDS: dict[str, tuple[float, float]] = {
    "titanium dioxide": (0.58, 0.10),
    "zinc oxide": (0.72, 0.10),
    "iron oxide red": (0.60, 0.13),
    "iron oxide yellow": (0.66, 0.10),
    "iron oxide black": (0.67, 0.10),
    "carbon black": (0.55, 0.20),
    "ultramarine": (0.92, 0.03),  # 0.96 by Mie's theory; the tables end at 0.95
    "organic yellow": (0.68, 0.15),
    "organic red": (0.68, 0.15),
    "phthalocyanine": (0.50, 0.20),
    "barium sulphate": (0.91, 0.04),
    "calcium carbonate": (0.91, 0.04),
    "alumina": (0.86, 0.05),
    "silica": (0.91, 0.04),
}
UNKNOWN = (0.65, 0.15)  # of a pigment whose kind nobody told: the middle of the table, and its spread
RUBBER = (0.60, 0.25)  # of the haze of a base: silica in rubber, by Mie's theory over 0.1 to 0.3 micrometres
MOST_STATED = 0.94  # the largest g that a folder may state: just inside the tables of the many-flux model
