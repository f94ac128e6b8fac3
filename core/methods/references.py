"""What can be cited, and where each law and method comes from.

Volume, page and year of those marked `SEEN` were confirmed in a public source; all else (titles,
identifiers, and the whole entry of the others) was written down from memory. A DOI that is not
surely known is left out.
"""

from __future__ import annotations

from .parts import OTHERS, Reference

SEEN = "volume, page and year"


def _article(key: str, authors: tuple[str, ...], title: str, journal: str, volume: str, pages: str,
             year: int, doi: str = "", **more: str) -> Reference:  # fmt: skip
    return Reference(key, "article", authors, title, year, journal, volume, pages=pages, doi=doi,
                     **more)  # type: ignore[arg-type]  # fmt: skip


_COLLOID = "Journal of Colloid and Interface Science"
_ALL = (
    _article("hertz1882", ("Hertz, H.",), "Ueber die Berührung fester elastischer Körper",
             "Journal für die reine und angewandte Mathematik", "92", "156-171", 1882,
             "10.1515/crll.1882.92.156", seen=SEEN),
    _article("sneddon1965", ("Sneddon, I. N.",), "The relation between load and penetration in the "
             "axisymmetric Boussinesq problem for a punch of arbitrary profile",
             "International Journal of Engineering Science", "3", "47-57", 1965,
             "10.1016/0020-7225(65)90019-4"),
    _article("bilodeau1992", ("Bilodeau, G. G.",), "Regular pyramid punch problem",
             "Journal of Applied Mechanics", "59", "519-523", 1992),
    _article("briscoe1994", ("Briscoe, B. J.", "Sebastian, K. S.", "Adams, M. J."),
             "The effect of indenter geometry on the elastic response to indentation",
             "Journal of Physics D: Applied Physics", "27", "1156-1162", 1994,
             "10.1088/0022-3727/27/6/013", seen=SEEN),
    _article("sun2004", ("Sun, Y.", "Akhremitchev, B.", "Walker, G. C."),
             "Using the adhesive interaction between atomic force microscopy tips and polymer "
             "surfaces to measure the elastic modulus of compliant samples",
             "Langmuir", "20", "5837-5845", 2004),
    _article("dmt1975", ("Derjaguin, B. V.", "Muller, V. M.", "Toporov, Yu. P."),
             "Effect of contact deformations on the adhesion of particles", _COLLOID, "53",
             "314-326", 1975, "10.1016/0021-9797(75)90018-1"),
    _article("jkr1971", ("Johnson, K. L.", "Kendall, K.", "Roberts, A. D."),
             "Surface energy and the contact of elastic solids",
             "Proceedings of the Royal Society of London A", "324", "301-313", 1971,
             "10.1098/rspa.1971.0141", seen=SEEN),
    _article("maugis1992", ("Maugis, D.",), "Adhesion of spheres: the JKR-DMT transition using a "
             "Dugdale model", _COLLOID, "150", "243-269", 1992, "10.1016/0021-9797(92)90285-T",
             seen=SEEN),
    _article("tabor1977", ("Tabor, D.",), "Surface forces and surface interactions", _COLLOID, "58",
             "2-13", 1977),
    Reference("iso21222", "standard", ("{International Organization for Standardization}",),
              "ISO 21222:2020 Surface chemical analysis - Scanning probe microscopy - Procedure "
              "for the determination of elastic moduli for compliant materials using atomic force "
              "microscope and the two-point JKR method", 2020, publisher="ISO, Geneva"),
    _article("pharr1992", ("Pharr, G. M.", "Oliver, W. C.", "Brotzen, F. R."),
             "On the generality of the relationship among contact stiffness, contact area, and "
             "elastic modulus during indentation", "Journal of Materials Research", "7", "613-617",
             1992, "10.1557/JMR.1992.0613", seen=SEEN),
    _article("lee1960", ("Lee, E. H.", "Radok, J. R. M."), "The contact problem for viscoelastic "
             "bodies", "Journal of Applied Mechanics", "27", "438-444", 1960),
    _article("ting1966", ("Ting, T. C. T.",), "The contact stresses between a rigid indenter and a "
             "viscoelastic half-space", "Journal of Applied Mechanics", "33", "845-854", 1966),
    _article("gavara2016", ("Gavara, N.",), "Combined strategies for optimal detection of the "
             "contact point in AFM force-indentation curves obtained on thin samples and adherent "
             "cells", "Scientific Reports", "6", "21267", 2016, "10.1038/srep21267"),
    _article("lin2007", ("Lin, D. C.", "Dimitriadis, E. K.", "Horkay, F."),
             "Robust strategies for automated AFM force curve analysis - I. Non-adhesive "
             "indentation of soft, inhomogeneous materials",
             "Journal of Biomechanical Engineering", "129", "430-440", 2007, seen=SEEN),
    _article("rudoy2010", ("Rudoy, D.", "Yuen, S. G.", "Howe, R. D.", "Wolfe, P. J."),
             "Bayesian change-point analysis for atomic force microscopy and soft material "
             "indentation", "Journal of the Royal Statistical Society C", "59", "573-593", 2010,
             eprint="0909.5438"),
    _article("hutter1993", ("Hutter, J. L.", "Bechhoefer, J."), "Calibration of atomic-force "
             "microscope tips", "Review of Scientific Instruments", "64", "1868-1873", 1993,
             "10.1063/1.1143970"),
    _article("hopcroft2010", ("Hopcroft, M. A.", "Nix, W. D.", "Kenny, T. W."), "What is the "
             "Young's modulus of silicon?", "Journal of Microelectromechanical Systems", "19",
             "229-238", 2010, "10.1109/JMEMS.2009.2039697", seen=SEEN),
    _article("lomb1976", ("Lomb, N. R.",), "Least-squares frequency analysis of unequally spaced "
             "data", "Astrophysics and Space Science", "39", "447-462", 1976, "10.1007/BF00648343"),
    _article("schwarz1978", ("Schwarz, G.",), "Estimating the dimension of a model",
             "Annals of Statistics", "6", "461-464", 1978, "10.1214/aos/1176344136"),
    _article("biernacki2000", ("Biernacki, C.", "Celeux, G.", "Govaert, G."),
             "Assessing a mixture model for clustering with the integrated completed likelihood",
             "IEEE Transactions on Pattern Analysis and Machine Intelligence", "22", "719-725",
             2000, "10.1109/34.865189"),
    _article("welch1947", ("Welch, B. L.",), "The generalization of 'Student's' problem when "
             "several different population variances are involved", "Biometrika", "34", "28-35",
             1947, "10.1093/biomet/34.1-2.28"),
    _article("holm1979", ("Holm, S.",), "A simple sequentially rejective multiple test procedure",
             "Scandinavian Journal of Statistics", "6", "65-70", 1979),
    Reference("huber1981", "book", ("Huber, P. J.",), "Robust Statistics", 1981,
              publisher="Wiley, New York"),
    Reference("jcgm100", "standard", ("{Joint Committee for Guides in Metrology}",),
              "JCGM 100:2008 Evaluation of measurement data - Guide to the expression of "
              "uncertainty in measurement", 2008, publisher="BIPM, Sèvres"),
    _article("numpy2020", ("Harris, C. R.", OTHERS), "Array programming with NumPy",
             "Nature", "585", "357-362", 2020, "10.1038/s41586-020-2649-2"),
    _article("scipy2020", ("Virtanen, P.", OTHERS), "SciPy 1.0: fundamental algorithms for "
             "scientific computing in Python", "Nature Methods", "17", "261-272", 2020,
             "10.1038/s41592-019-0686-2"),
    _article("sklearn2011", ("Pedregosa, F.", OTHERS), "Scikit-learn: machine learning in "
             "Python", "Journal of Machine Learning Research", "12", "2825-2830", 2011),
)  # fmt: skip

REFERENCES = {one.key: one for one in _ALL}

OF_LAW = {
    "paraboloid": ("hertz1882",), "sphere": ("sneddon1965",), "cone": ("sneddon1965",),
    "blunted_cone": ("briscoe1994",), "hyperboloid": ("sneddon1965", "sun2004"),
    "pyramid": ("bilodeau1992",), "pyramid_solved": (), "punch": ("sneddon1965",),
    "free_exponent": ("sneddon1965",),
}  # fmt: skip
"""Contact law -> what it is cited by; none for a solution made for Palpate."""
OF_ADHESION = {"none": (), "constant": ("dmt1975",), "jkr": ("jkr1971",),
               "maugis": ("maugis1992",), "two_point": ("jkr1971", "iso21222")}  # fmt: skip
OF_CONTACT = {"free": (), "given": (), "threshold": (), "variance_ratio": ("gavara2016",),
              "goodness": ("lin2007",), "change_point": ("rudoy2010",)}  # fmt: skip
