"""Models of diodes, transistors and switches of a maker's file, with numbers only.

Parameters that ngspice 39 knows are listed (its own ``devhelp``); it passes over others with a warning, so they are
left out here and named.
"""

import math

_KNOWN = {
    "d": "level is js jsw rs trs trs1 trs2 n ns tt ttt1 ttt2 cjo cj0 cj vj pb m mj tm1 tm2 cjp cjsw php mjsw ikf ik ikr"
    " nbv tlev tlevc eg xti cta ctc ctp tpb tvj tphp jtun jtunsw ntun xtitun keg kf af fc fcs bv ibv ib tcv isr nr",
    "q": "level subs is ibe ibc bf nf vaf va ikf ik ise c2 ne br nr var vb ikr isc c4 nc rb irb rbm re rc cje vje pe"
    " mje me tf xtf vtf itf ptf cjc vjc pc mjc mc xcjc tr cjs csub ccs vjs ps mjs ms xtb eg xti fc kf af iss ns nkf nk",
    "j": "level vt0 vto beta lambda rd rs cgs cgd pb is fc b tcv vtotc bex betatce xti eg kf af nlev gdsnoi",
    "m": "level vto vt0 kp gamma phi lambda rd rs cbd cbs is pb cgso cgdo cgbo rsh cj mj cjsw mjsw js tox ld u0 uo fc"
    " nsub tpg nss kf af",
    "m2": " delta uexp ucrit vmax xj neff nfs",
    "m3": " xl wd xw delvto delvt0 vmax xj nfs xd alpha eta delta theta kappa",
    "j2": " acgam cds delta hfeta hfe1 hfe2 hfg1 hfg2 mvst mxi ibd lfgam lfg1 lfg2 n p vbi q taud taug vbd ver vst xc"
    " xi z hfgam",
    "s": "ron roff vt vh",
    "w": "ron roff it ih",
}
_RENAMED = {"t_measured": "tnom", "tref": "tnom"}
TNOM = 27.0
"""Temperature at which a model's numbers hold unless it says otherwise. [°C]"""


def known_settings(letter: str, settings: dict[str, float]) -> tuple[dict[str, float], list[str]]:
    """What ngspice knows of a model's settings, with its own temperature of reference; and the names of the others.

    Parameters
    ----------
    letter : str
        Of the elements that the model is for.
    settings : dict of str to float
        By lower-case name.
    """
    level = int(settings.get("level", 1))
    known = set(_KNOWN[letter].split()) | set(_KNOWN.get(f"{letter}{level}", "").split())
    if letter == "j" and level == 2:
        known |= set(
            "acgam cds delta hfeta hfe1 hfe2 hfg1 hfg2 mvst mxi ibd lfgam lfg1 lfg2 n p vbi q taud taug".split()
        )
        known |= set("vbd ver vst xc xi z hfgam".split())
    kept, left = {}, []
    for name, value in settings.items():
        name = _RENAMED.get(name, name)
        if name in known or name == "tnom":
            kept[name] = value
        else:
            left.append(name)
    if letter not in "sw":
        # The deck's own reference is the unit's temperature; a model's numbers hold at theirs.
        kept.setdefault("tnom", TNOM)
    return kept, left


def switch_text(control: str, on: float, off: float, r_on: float, r_off: float, across: str) -> str:
    """Current through a switch of the vendors' dialect, whose resistance goes smoothly from open to closed.

    Parameters
    ----------
    control : str
        Text of the controlling voltage or current.
    on, off : float
        Where it is closed and where open. [V or A]
    r_on, r_off : float
        [Ω]
    across : str
        Text of the voltage across it.

    Notes
    -----
    With x from -1/2 (open) to 1/2: ln R = ln √(Ron Roff) + ln(Ron/Roff)·(3x/2 - 2x³), as manuals of the dialect have it
    (from memory).
    """
    middle, width = (on + off) / 2, on - off
    x = f"min(max(({control}-({middle!r}))/({width!r}),-0.5),0.5)"
    mean, ratio = math.log(math.sqrt(r_on * r_off)), math.log(r_on / r_off)
    return f"{across}*exp(({-mean!r})-({ratio!r})*(1.5*{x}-2.0*pwr({x},3.0)))"
