"""The style sheet: built from the palette, the same bytes every time, allowed in the page by its hash."""

import base64
import hashlib

from attrs import fields

from faults.report.palette import CLASSES, DARK, LIGHT, PRINT, Theme

_SCREEN = """
*{box-sizing:border-box}
html{font-size:100%;-webkit-text-size-adjust:100%}
body{margin:0;background:var(--page);color:var(--text);font:1rem/1.5 system-ui,sans-serif;
  font-variant-numeric:tabular-nums}
body>header,main,body>footer{max-width:66rem;margin:0 auto;padding:0 1.5rem}
h1,h2,h3,p,dl,ol,ul,table,figure{margin:0}
h1{font-size:1.9rem;line-height:1.2;letter-spacing:-.01em;text-wrap:balance}
h2{font-size:1.2rem;line-height:1.3;margin:2.6rem 0 .8rem;padding-top:.45rem;
  border-top:3px solid var(--text)}
h3{font-size:1rem;margin:1.3rem 0 .4rem}
p+p{margin-top:.5rem}
code,.mono{font-family:ui-monospace,monospace;font-size:.9em;overflow-wrap:anywhere}
a{color:var(--accent)}
a:focus-visible,summary:focus-visible,.scroll:focus-visible{outline:3px solid var(--accent);
  outline-offset:2px}
.skip{position:absolute;left:-99rem}
.skip:focus{left:1rem;top:1rem;background:var(--card);padding:.5rem .8rem}
.kicker,.head{font-size:.78rem;letter-spacing:.09em;text-transform:uppercase;color:var(--muted)}
body>header{padding-top:1.6rem}
.kicker{display:flex;justify-content:space-between;gap:1rem;margin-bottom:.7rem}
.question{font-size:1.1rem;margin-top:.4rem;color:var(--muted);max-width:46rem}
.muted,caption,figcaption{color:var(--muted)}
.measure{max-width:46rem}
.tag{position:relative;background:var(--card);border:2px solid var(--text);
  border-radius:1.2rem .3rem .3rem 1.2rem;margin-top:1.4rem;padding:1.1rem 1.4rem 1.1rem 4.2rem}
.hole{position:absolute;left:1.15rem;top:1.15rem;width:1.7rem;height:1.7rem;border-radius:50%;
  border:2px solid var(--text);background:var(--page)}
.tag::before{content:"";position:absolute;left:3.1rem;top:.8rem;bottom:.8rem;
  border-left:1px dashed var(--rule)}
.tag h2{border:0;margin:0;padding:0;font-size:.85rem;letter-spacing:.09em;text-transform:uppercase;
  color:var(--accent)}
.sentence{font-size:1.4rem;line-height:1.3;font-weight:650;margin:.25rem 0 .9rem;text-wrap:pretty}
.plate{display:grid;grid-template-columns:minmax(0,1fr) 15rem;gap:1.6rem;align-items:start}
.site{display:flex;flex-wrap:wrap;gap:0;border:1.5px solid var(--text);border-radius:.25rem;
  width:fit-content;max-width:100%}
.site div{padding:.3rem .9rem .4rem;border-right:1px solid var(--rule)}
.site div:last-child{border-right:0}
.site dt{font-size:.72rem;letter-spacing:.08em;text-transform:uppercase;color:var(--muted)}
.site dd{margin:0;font-size:1.25rem;font-weight:650;line-height:1.2}
.notation{margin-top:.7rem}
.sure{border-left:1px solid var(--rule);padding-left:1.3rem}
.sure h3{margin:0;font-size:.72rem;letter-spacing:.08em;text-transform:uppercase;color:var(--muted);
  font-weight:400}
.big{font-size:2.3rem;line-height:1.1;font-weight:700;letter-spacing:-.02em}
.words{font-weight:650}
.sure p{margin:0}
.sure .muted{font-size:.88rem;margin-top:.25rem}
.step{border-left:.4rem solid var(--accent);background:var(--card);padding:.9rem 1.2rem;
  margin-bottom:1rem;break-inside:avoid}
.step .do{font-size:1.12rem;font-weight:650}
.facts{display:flex;flex-wrap:wrap;gap:.2rem 1.4rem;margin:.3rem 0}
.facts dt{display:inline;color:var(--muted)}
.facts dt::after{content:" "}
.facts dd{display:inline;margin:0;font-weight:600}
.caution{border:1.5px solid var(--caution);border-left-width:.4rem;padding:.5rem .8rem;margin:.6rem 0 0;
  background:var(--card);max-width:52rem;break-inside:avoid}
.caution b{text-transform:uppercase;letter-spacing:.06em;font-size:.8em;margin-right:.5em}
.pair{display:grid;grid-template-columns:1fr 1fr;gap:0 2.4rem}
.plainlist{list-style:none;padding:0}
.plainlist li{padding:.35rem 0;border-bottom:1px solid var(--faint)}
.plainlist li:last-child{border-bottom:0}
.scroll{overflow-x:auto}
table{border-collapse:collapse;width:100%;font-size:.92rem}
caption{text-align:left;padding-bottom:.45rem;font-size:.88rem}
th,td{text-align:left;vertical-align:top;padding:.42rem .9rem .42rem 0;border-bottom:1px solid var(--faint)}
thead th{border-bottom:1.5px solid var(--text);font-size:.8rem;vertical-align:bottom}
tbody th{font-weight:600}
.num td:nth-child(n+2),.runs td:nth-child(-n+3),.runs th{font-family:ui-monospace,monospace;
  font-size:.85rem}
.runs td:nth-child(3){text-align:right;padding-right:1.4rem}
.runs thead th:nth-child(3){text-align:right;padding-right:1.4rem}
.share{font-weight:700;white-space:nowrap}
#groups-table td:last-child,#groups-table th:last-child{width:30%;padding-right:0}
.scroll+.muted{margin-top:.7rem}
.members{list-style:none;padding:0;margin:.25rem 0 0}
.members li{padding:.1rem 0}
.sub{display:block;color:var(--muted);font-size:.86rem}
.sign{display:inline-block;width:1.25em;height:1.25em;line-height:1.18em;text-align:center;
  font-weight:800;border:2px solid;border-radius:50%;margin-right:.45em;font-size:.85em}
.agrees .sign{color:var(--agree)}
.contradicts .sign{color:var(--against);border-radius:0}
.silent .sign{color:var(--muted);border-color:transparent}
.contradicts{font-weight:650}
.contradicts .sub{font-weight:400}
.chip{border:1px solid var(--rule);border-radius:.6rem;font-size:.75rem;padding:0 .5em;margin-left:.4em;
  white-space:nowrap;font-weight:400}
figure{margin:.4rem 0 1rem}
figcaption{font-size:.88rem;margin-top:.3rem;max-width:52rem}
svg{display:block;width:100%;height:auto;max-width:52rem}
svg text{font-family:inherit;font-size:12px;fill:var(--text)}
svg .mono{font-family:ui-monospace,monospace;font-size:11px}
svg .mild{fill:var(--muted)}
svg .strong{font-weight:700}
.line{stroke:var(--text);stroke-width:1.2;fill:none}
.thin{stroke:var(--rule);stroke-width:1;fill:none}
.tip{fill:var(--text)}
.bar{fill:var(--accent)}
.hollow{fill:none;stroke:var(--accent);stroke-width:1.5;stroke-dasharray:4 2}
.story{list-style:none;counter-reset:s;padding:0;max-width:52rem}
.story li{counter-increment:s;min-height:2.7rem;position:relative;padding:0 0 .9rem 3rem;break-inside:avoid}
.story li::before{content:counter(s);position:absolute;left:0;top:0;width:1.8rem;height:1.8rem;
  line-height:1.6rem;text-align:center;border:1.5px solid var(--text);border-radius:50%;font-weight:650;
  font-size:.9rem;background:var(--page)}
.story li:not(:last-child)::after{content:"";position:absolute;left:.88rem;top:1.95rem;bottom:.15rem;
  border-left:1.5px solid var(--rule)}
.when{display:block;color:var(--muted);font-size:.85rem}
details{margin-top:.6rem}
summary{cursor:pointer;color:var(--accent);font-weight:600;padding:.2rem 0}
body>footer{padding-bottom:3rem;color:var(--muted);font-size:.88rem}
.onpaper{display:none}
@media (max-width:46rem){
.plate,.pair{grid-template-columns:1fr}
.sure{border-left:0;padding-left:0}
body>header,main,body>footer{padding:0 1rem}
.tag{padding-left:3.6rem;padding-right:.9rem}
.hole{left:.85rem}
.tag::before{left:2.8rem}
}
@media (prefers-reduced-motion:reduce){*{transition:none!important;animation:none!important}}
"""

_PRINT = """
@page{margin:13mm 13mm 16mm;@bottom-right{content:counter(page) " / " counter(pages);font:8pt sans-serif}}
@media print{
html{font-size:8.6pt}
body{font-family:sans-serif;line-height:1.4}
body>header,main,body>footer{max-width:none;padding:0}
body>header{padding-top:0}
.skip{display:none}
.tag,.step,.caution,.hole,.story li::before{background:none}
h2{margin-top:1.7rem;break-after:avoid}
h3,caption,summary{break-after:avoid}
.runs td,.runs th{padding-top:.1rem;padding-bottom:.1rem}
h1{font-size:1.75rem}
.step,.caution,figure,.tag,.facts,.agree li{break-inside:avoid}
table{break-inside:auto}
thead{display:table-header-group;break-after:avoid}
tbody tr:first-child{break-before:avoid}
.notes+section{break-before:page;margin-top:0}
.notes+section h2{margin-top:0}
tr{break-inside:avoid}
.scroll{overflow:visible}
svg{max-width:none;print-color-adjust:exact;-webkit-print-color-adjust:exact}
a{color:inherit;text-decoration:none}
details::details-content{content-visibility:visible!important;display:block!important;height:auto!important}
summary{list-style:none;color:inherit}
summary::-webkit-details-marker{display:none}
.onpaper{display:block}
.notes{break-inside:avoid}
.notes .lines{height:2.5rem;border-bottom:1px solid var(--muted)}
.blank{display:inline-block;border-bottom:1px solid var(--text);width:12rem;margin-right:1.6rem}
}
"""

_TICK = """
.outcomes{list-style:none;padding:0;margin-top:.6rem}
.outcomes li{padding:.3rem 0 .3rem 1.9rem;position:relative}
.outcomes li::before{content:"";position:absolute;left:0;top:.45rem;width:1rem;height:1rem;
  border:1.5px solid var(--text)}
"""


def stylesheet() -> str:
    """Return the whole style sheet."""
    return "".join(
        (
            f":root{{color-scheme:light dark;{_variables(LIGHT, dark=False)}}}\n",
            f"@media (prefers-color-scheme:dark){{:root{{{_variables(DARK, dark=True)}}}}}\n",
            f"@media print{{:root{{color-scheme:light;{_variables(PRINT, dark=False)}}}}}\n",
            _class_rules(),
            _SCREEN.lstrip(),
            _TICK.lstrip(),
            _PRINT.lstrip(),
        )
    )


def style_hash(css: str) -> str:
    """Return the source expression that allows exactly this style element (Content Security Policy 3)."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(css.encode()).digest()).decode()}'"


def _variables(theme: Theme, *, dark: bool) -> str:
    pairs = [(a.name, getattr(theme, a.name)) for a in fields(Theme)]
    pairs.append(("faint", f"color-mix(in srgb,{theme.rule} 40%,{theme.page})"))
    for key, style in CLASSES.items():
        shade = style.dark if dark else style.light
        pairs += [(f"{key}-fill", shade.fill), (f"{key}-ink", shade.ink)]
    return "".join(f"--{name}:{value};" for name, value in pairs)


def _class_rules() -> str:
    return "".join(
        f".f-{key}{{fill:var(--{key}-fill)}}.i-{key}{{stroke:var(--{key}-ink);fill:none}}"
        f".d-{key},svg text.d-{key}{{fill:var(--{key}-ink)}}\n"
        for key in CLASSES
    )
