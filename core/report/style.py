"""How the page looks: on a screen, light or dark as the system is, and on A4."""

CSS = """\
:root {
  color-scheme: light dark;
  --paper: #ffffff; --ink: #1b1f24; --quiet: #4d5660; --line: #c9d0d6; --band: #f1f4f6;
  --link: #0b5a8f; --note: #0b5a8f; --warning: #9a4b00; --caution: #9b1c1c; --strong: #fff3d6;
}
@media (prefers-color-scheme: dark) {
  :root {
    --paper: #14181c; --ink: #e6eaee; --quiet: #a9b4be; --line: #3a444d; --band: #1d242a;
    --link: #7cc4f2; --note: #7cc4f2; --warning: #f0b25c; --caution: #ff9a8f; --strong: #3a3016;
  }
}
* { box-sizing: border-box; }
body {
  margin: 0 auto; padding: 1.5rem 1.25rem 3rem; max-width: 68rem;
  background: var(--paper); color: var(--ink);
  font: 1rem/1.5 system-ui, "Segoe UI", "Helvetica Neue", Arial, "DejaVu Sans", sans-serif;
  overflow-wrap: break-word;
}
h1 { font-size: 1.9rem; line-height: 1.2; margin: 0 0 .25rem; text-align: left; }
h2 { font-size: 1.35rem; line-height: 1.25; margin: 2.5rem 0 .75rem; padding-top: .75rem;
     border-top: 1px solid var(--line); }
h3 { font-size: 1.08rem; margin: 1.75rem 0 .5rem; }
p, ul, ol { margin: .5rem 0 .75rem; max-width: 48rem; }
li { margin: .2rem 0; }
.subtitle { color: var(--quiet); margin: 0 0 1.25rem; }
a { color: var(--link); }
nav { margin: 1.25rem 0; padding: .5rem 1rem; background: var(--band); border-radius: .4rem; }
nav ol { margin: 0; columns: 18rem; }
.note, .warning, .caution { padding: .5rem .9rem; border-left: .3rem solid var(--note);
  background: var(--band); }
.warning { border-color: var(--warning); }
.caution { border-color: var(--caution); }
.table { margin: 1rem 0 1.5rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; font-size: .86rem; line-height: 1.35; width: 100%;
  font-variant-numeric: tabular-nums; }
caption { text-align: left; font-weight: 600; padding: 0 0 .4rem; font-size: .93rem; }
th, td { padding: .28rem .55rem; text-align: left; vertical-align: top;
  border-bottom: 1px solid var(--line); min-width: 4rem; }
thead th { border-bottom: 2px solid var(--quiet); vertical-align: bottom; }
tbody th { font-weight: 600; min-width: 8rem; }
tbody th.plain { font-weight: 400; }
th.number, td.number { text-align: right; }
.long { overflow-wrap: anywhere; min-width: 8rem; }
tr.strong > * { background: var(--strong); }
.notes { font-size: .84rem; color: var(--quiet); }
.notes p { margin: .3rem 0; }
figure { margin: 1.25rem 0; }
img { display: block; width: 100%; max-width: 48rem; height: auto; background: #fff;
  border-radius: .3rem; }
figcaption { font-size: .88rem; color: var(--quiet); margin-top: .5rem; max-width: 48rem; }
footer { margin-top: 3rem; padding-top: .75rem; border-top: 1px solid var(--line);
  color: var(--quiet); font-size: .86rem; }
@page { size: A4; margin: 17mm 16mm 18mm;
  @bottom-right { content: counter(page) " / " counter(pages);
    font: 8pt system-ui, "DejaVu Sans", sans-serif; color: #4d5660; } }
@media print {
  :root { color-scheme: light;
    --paper: #fff; --ink: #000; --quiet: #3d454d; --line: #bbb; --band: #f4f4f4;
    --link: #000; --note: #0b5a8f; --warning: #9a4b00; --caution: #9b1c1c; --strong: #fff3d6; }
  html { font-size: 9.5pt; }
  body { max-width: none; padding: 0; }
  p, ul, ol, figcaption { max-width: none; }
  img { width: auto; max-width: 100%; }
  nav ol { columns: 2; }
  table { font-size: 7.6pt; }
  th, td, tbody th { min-width: 0; padding: .2rem .35rem; }
  .long { min-width: 0; }
  .wide { overflow: visible; }
  thead { display: table-header-group; }
  tr, figure, .note, .warning, .caution { break-inside: avoid; }
  h2, h3, caption, thead { break-after: avoid; }
  tbody tr:first-child, tbody tr:nth-child(2) { break-before: avoid; }
  tr.strong > *, .note, .warning, .caution, nav {
    -webkit-print-color-adjust: exact; print-color-adjust: exact; }
}
"""
