"""Style of the pages: colours in light and dark, tables, phones, paper."""

from __future__ import annotations

LIGHT = {
    "ink": "#1d2326",
    "soft": "#525c63",
    "line": "#cfd5d8",
    "paper": "#ffffff",
    "pale": "#f3f5f6",
    "warn": "#8a6210",
    "warn-ink": "#5e4204",
    "warn-paper": "#fff3df",
    "bad": "#7a0018",
    "good": "#0b6b78",
    "focus": "#1b5fd0",
}
"""Colours on paper and on light screens. Good, look (warn) and stop (bad) are told apart by every
kind of sight; they are also said in words wherever they stand."""

DARK = {
    "ink": "#e6eaec",
    "soft": "#a9b3b9",
    "line": "#3d464b",
    "paper": "#15191b",
    "pale": "#1e2427",
    "warn": "#ffc53d",
    "warn-ink": "#ffd98a",
    "warn-paper": "#352711",
    "bad": "#ff7480",
    "good": "#6fdcf0",
    "focus": "#8ab8ff",
}

WRITTEN_ON = (
    *(("ink", paper) for paper in ("paper", "pale", "warn-paper")),
    *(("soft", paper) for paper in ("paper", "pale")),
    *(("warn", paper) for paper in ("paper", "pale", "warn-paper")),
    ("warn-ink", "warn-paper"),
    *(("bad", paper) for paper in ("paper", "pale", "warn-paper")),
    *(("good", paper) for paper in ("paper", "pale")),
    *(("paper", fill) for fill in ("good", "bad", "warn")),
)
"""Colours of texts, and what they may stand on; the contrast is at least 4.5."""


def _variables(colours: dict[str, str]) -> str:
    return ":root { " + " ".join(f"--{name}:{value};" for name, value in colours.items()) + " }"


STYLE = (
    f"{_variables(LIGHT)}\n@media screen and (prefers-color-scheme: dark) {{ {_variables(DARK)} }}"
    """
:root { color-scheme:light dark }
* { box-sizing:border-box }
html { -webkit-text-size-adjust:100%; scroll-padding-top:1rem }
body { margin:0; background:var(--paper); color:var(--ink);
       font:16px/1.5 system-ui, -apple-system, "Segoe UI", Roboto, sans-serif; }
main, header, footer { max-width:1180px; margin:0 auto; padding:0 20px; }
h1 { font-size:1.7rem; line-height:1.25; margin:1.2rem 0 .2rem; overflow-wrap:anywhere }
h2 { font-size:1.2rem; margin:2.6rem 0 .6rem; border-bottom:1px solid var(--line);
     padding-bottom:.2rem; line-height:1.3 }
h3 { font-size:1rem; margin:1.6rem 0 .4rem }
h2, h3, figcaption, summary, legend { overflow-wrap:anywhere }
p, li { max-width:76ch; overflow-wrap:anywhere } .soft { color:var(--soft) }
a { color:inherit; text-underline-offset:.15em }
:focus-visible { outline:3px solid var(--focus); outline-offset:2px; border-radius:2px }
.skip { position:absolute; left:-99rem; top:0; padding:.5rem 1rem; background:var(--paper);
        color:var(--ink); z-index:9 } .skip:focus { left:0 }
.notice { background:var(--warn-paper); color:var(--warn-ink); border-left:5px solid var(--warn);
          padding:.6rem .9rem; margin:.8rem 0; font-weight:600; max-width:none }
.notice > p, .notice li { max-width:none; margin:.2rem 0 } .notice ul { margin:.3rem 0 }
.notice ul { font-weight:400 }
.units { border:1px solid var(--line); border-radius:6px; display:inline-flex; flex-wrap:wrap;
         gap:.2rem 1.2rem; padding:.15rem .8rem .4rem; margin:.6rem 0 }
.units[hidden] { display:none } .units legend { color:var(--soft); font-size:.85rem }
.units label { cursor:pointer } .units input { accent-color:var(--good) }
.bar { display:flex; flex-wrap:wrap; align-items:flex-end; gap:0 2rem }
nav summary { padding:.4rem 0 } nav ul { list-style:none; margin:0 0 .6rem; padding:0;
         columns:4 15rem; column-gap:1.4rem } nav details[open] { width:100% }
nav a { display:inline-block; padding:.15rem 0 }
.answer > ol { padding-left:1.6rem } .answer > ol > li { margin:.45rem 0; max-width:84ch }
.answer > ol > li::marker { font-weight:600; color:var(--soft) }
.caution { border-left:3px solid var(--warn); padding-left:.8rem; font-size:.95rem }
.scroll { overflow-x:auto; margin:.6rem 0; position:relative }
table { border-collapse:collapse; font-variant-numeric:tabular-nums; font-size:.92rem }
caption { position:absolute; width:1px; height:1px; overflow:hidden; clip-path:inset(50%);
          white-space:nowrap }
th, td { padding:.3rem .7rem; border-bottom:1px solid var(--line); text-align:right;
         vertical-align:top; white-space:nowrap }
th { background:var(--pale); text-align:right; font-weight:600 }
th { white-space:normal; vertical-align:bottom } th.t, td.t, td.p { text-align:left }
tbody th { background:none; font-weight:400; vertical-align:top; min-width:14ch; max-width:32ch }
td.p, td.r { white-space:normal; min-width:15ch }
td.w { white-space:normal; text-align:left; min-width:24ch }
.bad { color:var(--bad); font-weight:600 } .good { color:var(--good); font-weight:600 }
.look { color:var(--warn); font-weight:600 }
details { margin:.4rem 0 } summary { cursor:pointer; font-weight:600 }
figure { margin:1.4rem 0 } figure img { width:100%; height:auto; background:#fff;
         border:1px solid var(--line) } figcaption { color:var(--soft); font-size:.9rem }
.shares { max-width:760px; margin:.6rem 0; padding:0; list-style:none }
.shares li { display:grid; grid-template-columns:minmax(9rem,16rem) 1fr 3.6rem; gap:.8rem;
             align-items:center; max-width:none; border-bottom:1px solid var(--line);
             padding:.15rem 0 }
.shares i { display:block; height:.7rem; background:var(--good) } .shares b { text-align:right;
            font-weight:400; white-space:nowrap }
code { overflow-wrap:anywhere }
footer { margin:3rem auto 2rem; color:var(--soft); font-size:.85rem }
@media (max-width:640px) {
  main, header, footer { padding:0 14px } ol, ul { padding-left:1.3rem }
  nav ul { padding:0 }
  table { font-size:.85rem } th, td { padding:.3rem .3rem }
  th, tbody th, td.t, td.p, td.r { white-space:normal; min-width:0 }
  td.t, tbody th { min-width:9ch; max-width:none }
  .cards, .cards tbody, .cards tr, .cards td { display:block }
  .cards thead, .cards td:empty { display:none }
  .cards tr { padding:.5rem 0; border-bottom:1px solid var(--line) }
  .cards td { display:flow-root; border:0; padding:.1rem 0; text-align:right;
              white-space:normal; overflow-wrap:anywhere }
  .cards td::before { content:attr(data-label); color:var(--soft); text-align:left;
                      float:left; font-weight:400; max-width:45%; margin-right:1rem }
  .cards td:first-child { font-weight:600 }
  .cards td[colspan] { display:block; text-align:left; color:var(--soft) }
  .cards td[colspan]::before { content:none }
  .wide th:first-child, .wide td:first-child { position:sticky; left:0; max-width:24vw }
  .wide tbody th, .wide td:first-child { background:var(--paper) }
  .shares li { grid-template-columns:1fr 3.6rem } .shares i { grid-column:1 / 3; grid-row:2 } }
@media print {
  @page { size:A4; margin:14mm 12mm }
  :root { color-scheme:light } body { font-size:10pt } main, header, footer { max-width:none;
  padding:0 } nav, .skip, .units { display:none } a { text-decoration:none }
  h1, h2, h3, summary, legend { break-after:avoid } h2 { margin-top:1.4rem }
  p, li { max-width:none; orphans:3; widows:3 }
  figure, tr, img, svg, .card, .notice > p { break-inside:avoid }
  thead { display:table-header-group }
  figure { margin:.6rem 0 } figure img { max-height:225mm; width:auto; max-width:100% }
  .scroll { overflow:visible } table { font-size:7.5pt } th, td { padding:.15rem .3rem }
  th, td, tbody th, td.t, td.p, td.r, td.w { white-space:normal; min-width:0;
    overflow-wrap:break-word }
  details.paper::details-content { content-visibility:visible; block-size:auto }
  details.paper > summary { list-style:none }
}
"""
)


def screen_only_dark(style: str) -> str:
    """Style whose dark colours are for screens: paper is white."""
    return style.replace(
        "@media (prefers-color-scheme: dark)", "@media screen and (prefers-color-scheme: dark)"
    )
