"""How a month sheet looks: the colours of the charts, light and dark; one page of A4 in print, cards on a phone."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import fields

from service.exports.mark_chart.look import FONT, THEMES, Theme


def _colours(theme: Theme) -> str:
    return "".join(f"--{one.name}:{getattr(theme, one.name)};" for one in fields(theme))


#: Everything but the colours.
_RULES = """
*{box-sizing:border-box}
body{margin:0 auto;max-width:64rem;padding:.75rem 1rem 1.5rem;background:var(--paper);color:var(--ink);
font-family:%(font)s;font-size:.875rem;line-height:1.35;font-variant-numeric:tabular-nums}
h1{font-size:1.6rem;margin:0}h2{font-size:1rem;margin:1rem 0 .3rem}p{margin:.2rem 0}
header{display:flex;flex-wrap:wrap;justify-content:space-between;align-items:end;gap:0 1rem}
.month{font-size:1.15rem;font-weight:700}.quiet{color:var(--quiet)}.right{text-align:right;margin-left:auto}
table{border-collapse:collapse;width:100%%}caption,.unseen{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%%)}
th,td{text-align:left;vertical-align:middle;padding:.15rem .6rem .15rem 0;font-weight:400}
thead th{color:var(--quiet);font-size:.8rem;white-space:nowrap}tbody tr{border-top:1px solid var(--grid)}
tbody th,.best .when,.best .out,.best .due{white-space:nowrap}
.day b,.weekend{font-weight:700}.weekend .day{font-weight:700}
.cycle{display:block;font-size:.75rem;font-weight:400;color:var(--quiet);white-space:nowrap}
.clocks,.best .long{white-space:normal}
.waters,.sun{white-space:nowrap}.waters span,.sun span,.sessions>span{display:block}
.rank{font-weight:700}.sessions>span{white-space:nowrap}.fish{min-width:8rem}
.hours{display:flex;justify-content:space-between}
.strip{display:block;width:100%%;min-width:9rem;height:auto}
.sign{width:1.35em;height:1.35em;vertical-align:-.3em}
.hazards{list-style:none;margin:0;padding:0}.hazards li{padding:.12rem 0 .12rem 1.7em;text-indent:-1.7em}
.hazards .sign{margin-right:.5em;text-indent:0}
footer{margin-top:.8rem;border-top:1px solid var(--grid);padding-top:.4rem;font-size:.8rem;color:var(--quiet)}
.caution{font-weight:700;color:var(--ink)}
svg text{font-family:%(font)s;fill:var(--ink)}
.night{fill:var(--night)}.dim{fill:var(--dim)}.dusk{fill:var(--dusk)}.sea{fill:var(--shallow)}
.line{fill:none;stroke:var(--water);stroke-width:1.2}.grid{fill:none;stroke:var(--grid)}
.box{fill:var(--session);stroke:var(--border)}.best-hour{fill:var(--best)}.number{font-size:10px;font-weight:700}
.danger{fill:var(--danger)}.caution-sign,.sign .caution{fill:var(--caution)}.info{fill:var(--quiet)}
.not_assessed{fill:none;stroke:var(--quiet);stroke-width:1.5;stroke-dasharray:2 3}
.sign text{font-size:12px;font-weight:700;text-anchor:middle}.sign .sign{fill:var(--paper)}
.ring{fill:none;stroke:var(--quiet);stroke-width:1.5}
"""
_PHONE = """
body{padding:.6rem .75rem 1.25rem}.right{text-align:left;margin-left:0}
table,tbody{display:block}thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
tr{display:grid;grid-template-columns:repeat(6,1fr);gap:.15rem .6rem;padding:.45rem 0}
th,td{padding:0;display:block}.wide{grid-column:1/-1}.fish{min-width:0}
.best th{grid-column:1}.best .when{grid-column:2/4}.best .fish{grid-column:4/-1}.best .out{grid-column:span 3}
.best .rank,.best .when{font-size:1.05rem;font-weight:700}
.best .due{white-space:normal}td[data-is]::before{content:attr(data-is) " ";color:var(--quiet);font-size:.75rem}
.best .out::before{display:block}
.days .day{grid-column:1/4;font-size:1.05rem}.days .sessions{grid-column:1/-1}.days .pic{grid-column:1/-1;order:2}
.days .sessions{order:1}.days .waters{grid-column:span 3;order:3}.days .range{grid-column:4/-1;text-align:right}
.days .sun{grid-column:span 3;order:4;color:var(--quiet)}
.waters span,.sun span{display:inline-block;margin-right:.5rem}
.cycle{display:inline;margin-left:.5rem}.strip{min-width:0}
.best td.when,.best td.out,.waters,.sun{white-space:normal}
"""
_PRINT = """
body{max-width:none;padding:0;font-size:7.3pt;line-height:1.22;background:none}
h1{font-size:15pt}.month{font-size:11pt}h2{font-size:8.5pt;margin:1.6mm 0 .4mm}
th,td{padding:.3mm 1.5mm .3mm 0}thead th{font-size:6.4pt}tr{break-inside:avoid}
.cycle{display:inline;font-size:6.2pt;margin-left:.8mm}.strip{width:40mm;min-width:0}
.waters span,.sun span{display:inline-block;margin-right:1.2mm}.fish{min-width:0}
.hazards li{padding-top:0;padding-bottom:.2mm}footer{margin-top:1.4mm;padding-top:.8mm;font-size:6.2pt}
.dense{font-size:6.5pt}.dense th,.dense td{padding:.08mm 1.5mm .08mm 0}.dense .strip{width:38mm}
.dense h2{margin-top:1mm}.dense footer{font-size:5.8pt}
"""

STYLE = (
    f":root{{color-scheme:light dark;{_colours(THEMES['light'])}}}"
    f"@media screen and (prefers-color-scheme:dark){{:root{{{_colours(THEMES['dark'])}}}}}"
    + _RULES % {"font": FONT}
    + f"@media screen and (max-width:52rem){{{_PHONE}}}"
    + f"@page{{size:A4 portrait;margin:8mm}}@media print{{{_PRINT}}}"
)
#: By which a Content-Security-Policy takes this style and no other.
STYLE_HASH = f"'sha256-{base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()}'"
