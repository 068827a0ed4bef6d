/** Styles of the log, on top of the shared ones. */
export const LOG_CSS = `
#log{padding:0}
.line{display:grid;grid-template-columns:3.5rem 1fr;gap:0 .5rem;padding:.7rem 0;border-top:1px solid var(--edge);scroll-margin-top:.5rem}
.line:first-child{border-top:0}
.line time{color:var(--soft);font-size:.8rem;padding-top:.1rem;font-variant-numeric:tabular-nums}
@media (max-width:22rem){.line{grid-template-columns:1fr}}
.who{margin:0 0 .25rem;font-size:.85rem;color:var(--soft);font-weight:600}
.said p{margin:.35rem 0;white-space:pre-line}
.family .words{border:1px solid var(--edge);border-radius:.5rem;padding:.45rem .7rem;background:var(--raised);display:inline-block;max-width:100%;margin:0}
.advice{margin:.6rem 0;padding:.4rem .6rem .4rem 1.9rem;border-left:4px solid var(--bar);background:var(--raised);border-radius:0 .5rem .5rem 0;font-size:1.1rem}
.advice li{margin:.45rem 0;padding-left:.2rem;white-space:pre-line}
.advice li::marker{font-weight:700}
.withdrawn{border:3px double var(--ink);border-radius:.4rem;padding:.5rem .75rem;font-weight:700;font-size:1.1rem}
.clinician blockquote{margin:.4rem 0;padding:.2rem 0 .2rem .8rem;border-left:4px double var(--soft);font-size:1.1rem;white-space:pre-line}
.clinician blockquote::before{content:open-quote}
.clinician blockquote::after{content:close-quote}
.languages{display:flex;flex-wrap:wrap;justify-content:flex-end;gap:.2rem .4rem;margin-top:.4rem}
.tel{font-weight:700;white-space:nowrap;display:inline-block;padding:.1rem 0}
.day{font-size:.95rem;color:var(--soft);border-top:1px solid var(--edge);padding-top:.7rem;margin:.3rem 0}
.away{font-weight:700;margin:.8rem 0 .2rem}
.state{background:var(--raised);border:1px solid var(--edge);border-radius:.5rem;padding:.55rem .8rem}
.note{font-weight:700;border-left:4px solid var(--focus);padding:.3rem .7rem}
.ask{border-top:2px solid var(--bar);margin-top:.6rem}
.ask h2{font-size:1.3rem;margin-bottom:.3rem}
.ask h2:focus{outline:0}
.drawn{display:flex;align-items:center;gap:1rem}
.picture{display:block;max-width:18rem;margin:.5rem 0}
.picture svg{display:block;width:100%;height:auto}
.drawing{flex:0 0 5.5rem;display:block}
.drawing svg{display:block;width:5.5rem;height:5.5rem}
fieldset{border:0;margin:0;padding:0;min-width:0}
.tick{display:flex;align-items:center;gap:.8rem;min-height:3.25rem;margin:.5rem 0;padding:.5rem 1rem;border:2px solid var(--button-edge);border-radius:.6rem;background:var(--button);cursor:pointer}
.tick input{flex:0 0 auto;width:1.6rem;height:1.6rem;margin:0}
.write{border-top:1px solid var(--edge);margin-top:1.4rem}
.answer{display:flex;flex-wrap:wrap;align-items:center;gap:.1rem .6rem}
.change .small-button{margin:.1rem 0}
.check{margin-top:.8rem}
.live .check{display:none}
details{margin:.6rem 0}
summary{min-height:3rem;padding:.7rem 0;font-weight:600;cursor:pointer}
.answers{list-style:none;margin:0;padding:0}
.answers li{display:flex;flex-wrap:wrap;align-items:center;justify-content:space-between;gap:.2rem .8rem;padding:.4rem 0;border-top:1px solid var(--edge)}
#unsent p{margin:.4rem 0;padding:.5rem .75rem;border:2px dashed var(--button-edge);border-radius:.5rem}
`
