"""Which numbers does the mash model run on, in what unit, from where, and how sure are they?

Every constant is a `Constant`: value, unit, confidence, source. The words for confidence:
  seen             read in the source, or in a page that quotes it
  recalled         from memory; the source could not be opened
  calibrated       fitted, to what the source says
  derived          computed from other constants or data named in the source
  assumed          chosen so that the model behaves as the trade describes; no published figure
  common practice  knowledge of the trade without a source
"""

from __future__ import annotations

from typing import NamedTuple


class Constant(NamedTuple):
    """One number of the model, and why it should be believed."""

    value: float
    unit: str
    confidence: str
    source: str


_BRANDAM = "Brandam, Meyer, Proth, Strehaiano, Pingaud, Biochem. Eng. J. 13 (2003) 43-52, not opened"
_REFIT = (
    "a reader's refit of the activity curves of Brandam et al. 2003, "
    "homebrewtalk.com/threads/the-kinetics-of-mashing.694286"
)
_CHANDRASEKHAR = (
    "attenuation 82/70/50/30 % at 65/70/75/80 C, Chandrasekhar, quoted at "
    "edsbeer.blogspot.com/2014/11/fermentability-and-mash-temperature.html"
)
_RITTENAUER = "Rittenauer, Gladis, Gastl, Becker, Foods 10 (2021) 1733, abstract (seen)"
_LINTNER = "Lintner 1889, malt extract on kilned-malt starch for 4 h, from memory, no page found"
_FIT = (
    f"least squares on: {_CHANDRASEKHAR}; three ranges of {_RITTENAUER}; {_LINTNER}; "
    "MEBAK B-590.12.139; sugar shares of hobbybrauer-kompendium.de; direction from Hamilton, Lewis, "
    "MBAA Tech. Q. 11 (1974) 31-34, abstract. Fourteen targets for fifteen numbers"
)
_SANDEGREN = "Sandegren and others, J. Inst. Brew., cellulase of malt, abstract (seen): 40 % lost in 30 min at 50 C"
_LYONS = "Lyons, MBAA Tech. Q. 15 (1978) 102-105, abstract (seen): 99 % lost in 1 min at 65 C"
_ONE_MASH = "braukaiser.com/blog 2011-03-04, a single infusion at 68 C (seen); one mash only"
_MULLER = "Muller 1990, Brewing Research Foundation, figure 1, as quoted at thehomebrewforum.co.uk/threads/98291"
_MOLAR = "molar masses 180.16, 342.30, 504.44 over 162.14 g/mol an anhydroglucose unit"

GAS_J_PER_MOL_K = 8.314462618  # CODATA 2018, exact
ZERO_K = 273.15  # 0 degC in kelvin, exact

SHARED: dict[str, Constant] = {
    # Pasting: two straight lines of ln k over 1/T. The calibrated set has a low line of its own.
    "gel_low": Constant(5.7e31, "1/s", "recalled", _BRANDAM),
    "gel_low_energy": Constant(220_600.0, "J/mol", "recalled", _BRANDAM),
    "gel_high": Constant(3.1e14, "1/s", "recalled", _BRANDAM),
    "gel_high_energy": Constant(
        108_300.0, "J/mol", "recalled", f"{_BRANDAM}; with the low line within 5 and 1 points of Rittenauer 2021"
    ),
    "gel_break": Constant(60.0, "C", "recalled", f"{_BRANDAM}; the rate steps up by 2.2 here"),
    # Loss of the amylases by heat.
    "alpha_loss": Constant(6.9e30, "1/s", "recalled", _BRANDAM),
    "alpha_loss_energy": Constant(
        224_200.0, "J/mol", "recalled", f"{_BRANDAM}; 56 % left after 60 min at 65 C, more than half in {_MULLER}"
    ),
    "beta_loss": Constant(7.6e60, "1/s", "recalled", _BRANDAM),
    "beta_loss_energy": Constant(410_700.0, "J/mol", "recalled", _BRANDAM),
    # Enzymes of the low rests.
    "glucanase_half_life": Constant(55.218, "s at 60 C", "derived", f"{_SANDEGREN}; {_LYONS}"),
    "glucanase_loss_energy": Constant(
        339_200.0, "J/mol", "derived", f"the same two points: 41/5.9/0.92/0.15 min half-life at 50/55/60/65 C; {_LYONS}"
    ),
    "protease_half_life": Constant(
        60.0,
        "s at 65 C",
        "calibrated",
        "Osman et al., J. Inst. Brew. 108 (2002) 62-67, abstract: busiest at 50 C on glutelin; Jones, Marinac 2002, "
        "abstract: stable at 38, quickly lost at 72 C",
    ),
    "protease_loss_energy": Constant(230_000.0, "J/mol", "assumed", "45/12/3.4/1 min half-life at 50/55/60/65 C"),
    "low_rest_doubling": Constant(10.0, "K", "common practice", "enzyme work about doubles per 10 K while it survives"),
    "low_rest_reference": Constant(45.0, "C", "assumed", "where one minute of fresh enzyme counts as one minute"),
    # Extract found in the liquid lags what is formed inside the crushed grain.
    "release_lag": Constant(11.61 * 60.0, "s", "calibrated", f"0.90 of the extract at 30 min, 3.5 L/kg: {_ONE_MASH}"),
    "wetting_lag": Constant(120.0, "s", "assumed", "crushed malt; fine grist 0 to 120 s"),
    "dry_share": Constant(0.999, "-", "assumed", "starch not yet wetted at dough-in"),
    # Mass taken up as water when anhydroglucose becomes free sugar.
    "gain_glucose": Constant(1.1111, "g/g", "derived", _MOLAR),
    "gain_maltose": Constant(1.0556, "g/g", "derived", _MOLAR),
    "gain_maltotriose": Constant(1.0370, "g/g", "derived", _MOLAR),
    "gain_dextrin": Constant(1.0139, "g/g", "assumed", "mean degree of polymerisation 8"),
    "gain_starch": Constant(1.04, "g/g", "derived", "mean over all products of a complete mash"),
    "real_per_apparent": Constant(
        0.8192,
        "-",
        "recalled",
        "Balling. MEBAK states 0.81 (seen); Bringhurst et al., J. Inst. Brew. 102 (1996) 433-437, abstract: 0.8146",
    ),
}

CALIBRATED: dict[str, Constant] = {
    # pasting of its own, steep between 57 and 59 C
    "paste_low": Constant(6.332881302864671e-05, "1/s at 55 C", "calibrated", f"{_LINTNER}; {_RITTENAUER}"),
    "paste_low_energy": Constant(303_506.7483972499, "J/mol", "calibrated", _LINTNER),
    "paste_high_factor": Constant(1.8017235805013658, "-", "calibrated", f"times gel_high: {_RITTENAUER}"),
    "paste_middle": Constant(57.90730193390302, "C", "calibrated", _RITTENAUER),
    "paste_width": Constant(0.5550676879043654, "K", "calibrated", _FIT),
    "small_share": Constant(
        0.24, "-", "seen", "small granules of barley malt, 22-25 % by volume in commercial malts, abstract"
    ),
    "small_later": Constant(3.556562047204009, "K", "calibrated", f"small granules paste later: {_RITTENAUER}"),
    "paste_shift": Constant(
        0.4,
        "K per g of extract in 100 g",
        "seen",
        "De Schepper, Courtin, Food Hydrocolloids 2022, 107745, abstract: 1 C per 2.5 g per 100 g wort",
    ),
    "paste_reference": Constant(4.0, "kg/kg", "assumed", "1:4 as in MEBAK R-200.32.283; not said of the pasting data"),
    # starch inside coarse grits, for the iodine test of crushed malt alone
    "coarse_lag": Constant(466.2, "s at 65 C", "calibrated", f"iodine-negative at 30 min: {_ONE_MASH}"),
    "iodine_starch": Constant(0.02, "-", "assumed", "share of the starch left when the test turns; no figure found"),
    "beta_loss_scale": Constant(0.41897797490809624, "-", "calibrated", f"half-life 10 min at 65 C: {_MULLER}"),
    "alpha_energy": Constant(58_233.407268703864, "J/mol", "calibrated", _FIT),
    "beta_energy": Constant(25_000.0, "J/mol", "derived", f"slope of the rising branch, 30 to 63 C: {_REFIT}"),
    # gelatinised starch to ..., 1/s at 65 C
    "k1_glucose": Constant(0.00015257177959228157, "1/s", "calibrated", _FIT),
    "k1_maltose": Constant(0.0008391447877575488, "1/s", "calibrated", _FIT),
    "k1_maltotriose": Constant(0.0005340012285729855, "1/s", "calibrated", _FIT),
    "k1_dextrin": Constant(0.014660969126640432, "1/s", "calibrated", _FIT),
    "k1_beta": Constant(0.026625176382161258, "1/s", "calibrated", f"weakly determined; {_FIT}"),
    # dextrin to ..., 1/s at 65 C
    "k2_glucose": Constant(0.00010886321587639589, "1/s", "calibrated", _FIT),
    "k2_maltose": Constant(0.000362877386254653, "1/s", "calibrated", _FIT),
    "k2_maltotriose": Constant(0.0002540141703782571, "1/s", "calibrated", _FIT),
    "k2_beta": Constant(0.011463379713695567, "1/s", "calibrated", _FIT),
    "maltotriose_of_beta": Constant(
        0.2154941282284069, "-", "calibrated", "hobbybrauer-kompendium.de, entry on saccharification"
    ),
    "limit_dextrin_share": Constant(
        0.3278278908712588, "-", "calibrated", f"the handle by which a malt certificate is met; {_FIT}"
    ),
    "debranching": Constant(
        6.888955106491325e-05,
        "1/s at 60 C",
        "calibrated",
        "prior only: 1.5 points more at 62.5 than at 65.5 C. Direction: Hamilton, Lewis 1974, abstract, and "
        "Harris, MacWilliam, J. Inst. Brew. 1961, Carbohydrates in malting and brewing X, abstract",
    ),
    "debranching_energy": Constant(40_000.0, "J/mol", "assumed", "no figure found"),
    "debranching_half_life": Constant(
        1200.0,
        "s at 63 C",
        "assumed",
        "Sissons, Taylor, Proudlove, J. Am. Soc. Brew. Chem. 53 (1995) 104-110, abstract: free form lost above 63 C",
    ),
    "debranching_loss_energy": Constant(250_000.0, "J/mol", "assumed", "no figure found"),
}

PUBLISHED: dict[str, Constant] = {
    # beta-amylase: two straight lines over T in K, floor 0
    "beta_rise": Constant(0.0475550936009274, "1/K", "seen", _REFIT),
    "beta_rise_0": Constant(-13.4030011903215, "-", "seen", _REFIT),
    "beta_fall": Constant(-0.375479040579485, "1/K", "seen", _REFIT),
    "beta_fall_0": Constant(128.755113213744, "-", "seen", _REFIT),
    "alpha_low": Constant(40.0, "C", "seen", f"{_REFIT}: the polynomial runs away below"),
    "alpha_high": Constant(73.9, "C", "seen", f"{_REFIT}: no activity above"),
    # only the ratios of these are used
    "k1_glucose": Constant(0.023, "-", "recalled", _BRANDAM),
    "k1_maltose": Constant(0.389, "-", "recalled", _BRANDAM),
    "k1_maltotriose": Constant(0.117, "-", "recalled", _BRANDAM),
    "k1_dextrin": Constant(0.317, "-", "recalled", _BRANDAM),
    "k1_beta": Constant(0.137, "-", "recalled", _BRANDAM),
    # unit not established; a fit drives their scale to nothing
    "k2_glucose": Constant(2.9e-8, "-", "recalled", _BRANDAM),
    "k2_maltose": Constant(1.2e-7, "-", "recalled", _BRANDAM),
    "k2_maltotriose": Constant(1.5e-8, "-", "recalled", _BRANDAM),
    "k2_beta": Constant(8.4e-8, "-", "recalled", _BRANDAM),
    "alpha_scale": Constant(0.005, "1/s", "assumed", "any value that makes gelatinised starch short-lived serves"),
    "beta_per_alpha": Constant(14.18857695, "-", "calibrated", f"82 % at 65 C: {_CHANDRASEKHAR}"),
}

# Activity of alpha-amylase over T in K, highest power first; every digit is needed (seen: the refit named above).
ALPHA_POLYNOMIAL = (
    9.82888846139552e-08,
    -0.000191398099738377,
    0.155234755391823,
    -67.1237341274294,
    16320.3910529193,
    -2115612.60688011,
    114232689.940232,
)

MALT: dict[str, Constant] = {
    "starch": Constant(0.62, "g/g dry matter", "assumed", "from the certificate: (extract - 0.165) / 1.04"),
    "monosaccharides": Constant(0.02, "g/g dry matter", "common practice", "glucose and fructose of pale malt"),
    "sucrose": Constant(0.045, "g/g dry matter", "common practice", "pale malt"),
    "maltose": Constant(0.015, "g/g dry matter", "common practice", "pale malt"),
    "other_solubles": Constant(
        0.085, "g/g dry matter", "calibrated", "MEBAK B-590.12.139: carbohydrate about 90 % of extract"
    ),
}
