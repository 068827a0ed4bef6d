/**
 * The look shared by the family's and the clinician's pages. Dark unless the device asks for light; urgency is never
 * said by colour; nothing moves or flashes; every target is at least 48 px; nothing is wider than 320 px needs.
 */
export const BASE_CSS = `
:root{color-scheme:dark;--ground:#10161d;--raised:#19222c;--ink:#f0f4f7;--soft:#b9c6d1;--edge:#435261;--bar:#a9c7e2;--key:#e6eef5;--key-ink:#10161d;--button:#22303e;--button-edge:#8ea6bb;--focus:#ffd76a}
@media (prefers-color-scheme:light){:root{color-scheme:light;--ground:#fbfaf7;--raised:#fff;--ink:#171c21;--soft:#4b5661;--edge:#c3c8cc;--bar:#2c5d86;--key:#173d5c;--key-ink:#fff;--button:#fff;--button-edge:#51687c;--focus:#a23b00}}
*{box-sizing:border-box}
html{font:112.5%/1.45 system-ui,-apple-system,"Segoe UI",Roboto,"Noto Sans",sans-serif;scroll-padding:1rem 0 7rem;-webkit-text-size-adjust:100%}
body{margin:0;background:var(--ground);color:var(--ink);min-height:100vh;min-height:100dvh;display:flex;flex-direction:column;overflow-wrap:anywhere}
main,.top,.caution{width:100%;max-width:42rem;margin:0 auto;padding:0 1rem}
main{flex:1 0 auto}
h1{font-size:1.3rem;line-height:1.25;margin:.8rem 0 .6rem}
h2{font-size:1.2rem;line-height:1.3;margin:1.25rem 0 .6rem}
h3{font-size:1rem;margin:1rem 0 .4rem}
p{margin:.4rem 0}
a{color:inherit}
.soft{color:var(--soft);font-size:.9rem}
.banner{background:var(--key);color:var(--key-ink);padding:.25rem .75rem;text-align:center;font-weight:600;font-size:.85rem}
.caution{color:var(--soft);font-size:.85rem;border-top:1px solid var(--edge);margin-top:2rem;padding-top:.75rem;padding-bottom:1rem}
button,.button,input,textarea,select{font:inherit;color:inherit}
button,.button{display:block;width:100%;min-height:3.25rem;padding:.65rem 1rem;margin:.5rem 0;border:2px solid var(--button-edge);border-radius:.6rem;background:var(--button);color:var(--ink);text-align:left;text-decoration:none;font-weight:600;cursor:pointer;touch-action:manipulation}
a.button{display:flex;align-items:center}
.main-button{background:var(--key);border-color:var(--key);color:var(--key-ink);font-size:1.15rem;min-height:3.75rem}
.apart{margin-top:1.4rem}
.apart button{border-style:dashed}
.small-button{display:inline-block;width:auto;min-height:3rem;padding:.4rem .9rem;margin:.25rem .4rem .25rem 0;font-weight:500}
:focus-visible{outline:3px solid var(--focus);outline-offset:2px}
textarea,input[type=text],input[type=password],input[type=tel],select{width:100%;min-height:3.25rem;padding:.6rem .75rem;border:2px solid var(--button-edge);border-radius:.6rem;background:var(--raised)}
label{display:block;font-weight:600;margin:.75rem 0 .3rem}
.foot{position:sticky;bottom:0;background:var(--ground);border-top:2px solid var(--bar);padding:.5rem max(.75rem,env(safe-area-inset-left)) max(.5rem,env(safe-area-inset-bottom))}
.foot ul{list-style:none;margin:0 auto;padding:0;max-width:42rem;display:grid;grid-template-columns:1fr 1fr;gap:.6rem}
.foot a{display:flex;flex-direction:column;justify-content:center;min-height:3.4rem;height:100%;padding:.3rem .7rem;border:2px solid var(--button-edge);border-radius:.6rem;background:var(--button);text-decoration:none;line-height:1.2}
.foot .label{font-size:.85rem}
.foot .number{font-size:1.1rem;font-weight:700;white-space:nowrap}
@media (max-width:24rem){.foot{padding-left:.5rem;padding-right:.5rem}.foot ul{gap:.4rem}.foot a{padding:.3rem .5rem}.foot .number{font-size:1rem}}
.foot .words{font-size:.8rem;color:var(--soft)}
@media (max-height:24rem){.foot{padding-top:.2rem;padding-bottom:.2rem}.foot .words{display:none}.foot a{min-height:2.7rem;padding:.1rem .5rem;line-height:1.15}.foot .label{font-size:.75rem}html{scroll-padding-bottom:4rem}}
@media print{.foot{position:static}button,.button,form{display:none}body{background:#fff;color:#000}}
`
