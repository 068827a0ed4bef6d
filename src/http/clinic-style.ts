import { PLOT_STYLE } from '../review/plots.ts'

/** Styles of the clinician's pages, on top of the shared ones. */
export const CLINIC_CSS = `
h1{font-size:1.5rem}
.state{background:var(--raised);border:1px solid var(--edge);border-radius:.5rem;padding:.5rem .8rem}
.note{font-weight:700;border-left:4px solid var(--focus);padding:.3rem .7rem}
.marks{list-style:none;margin:.5rem 0;padding:0;display:flex;flex-wrap:wrap;gap:.4rem}
.marks li{border:2px solid var(--ink);border-radius:.4rem;padding:.2rem .6rem;font-weight:700}
.lines{margin:.3rem 0;padding-left:1.2rem}
.lines li{margin:.25rem 0}
a.ring{font-size:1.25rem;justify-content:center;text-align:center}
a.button strong{margin-right:.7rem;white-space:nowrap}
a.long{flex-wrap:wrap}
a.long strong{white-space:normal}
.times{border:0;margin:0;padding:0;min-width:0;display:grid;grid-template-columns:repeat(auto-fit,minmax(7rem,1fr));gap:0 .5rem}
.times legend{padding:0;font-weight:600;margin-top:.4rem}
.times button{text-align:center}
.line{display:grid;grid-template-columns:3.5rem 1fr;gap:0 .5rem;padding:.5rem 0;border-top:1px solid var(--edge)}
.line p{margin:.2rem 0;white-space:pre-line}
.line time{color:var(--soft);font-size:.8rem;padding-top:.1rem;overflow-wrap:normal}
.moments .line{grid-template-columns:6rem 1fr}
.moments .soft{font-size:inherit}
@media (max-width:22rem){.line{grid-template-columns:1fr}}
.who{font-size:.85rem;color:var(--soft);font-weight:600}
.line .advice{border-left:3px solid var(--bar);padding-left:.6rem}
section{border-top:1px solid var(--edge);margin-top:1rem}
details{border-top:1px solid var(--edge);margin-top:.8rem}
summary{min-height:3rem;padding:.7rem 0;font-weight:600;cursor:pointer}
fieldset{border:0;margin:0;padding:0;min-width:0}
.tick{display:flex;align-items:center;gap:.8rem;min-height:3.25rem;margin:.5rem 0;padding:.5rem 1rem;border:2px solid var(--button-edge);border-radius:.6rem;background:var(--button);cursor:pointer}
.tick input{flex:0 0 auto;width:1.6rem;height:1.6rem;margin:0}
.board{list-style:none;margin:0;padding:0}
.board>li{border-top:1px solid var(--edge);padding:.6rem 0}
.clinic-nav{width:100%;max-width:42rem;margin:0 auto;padding:.3rem 1rem;display:flex;flex-wrap:wrap;gap:.2rem 1rem;align-items:center;justify-content:space-between;border-bottom:1px solid var(--edge)}
.clinic-nav ul{list-style:none;margin:0;padding:0;display:flex;flex-wrap:wrap;gap:.2rem 1rem}
.clinic-nav a{display:inline-block;padding:.75rem 0;min-height:3rem}
.clinic-nav a[aria-current]{font-weight:700;text-decoration-thickness:3px}
.unseen{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%);white-space:nowrap}
.page-text{white-space:pre-line;border-left:3px solid var(--bar);padding-left:.6rem}
.plain{list-style:none}
.moments{margin:0;padding:0}
.item{border-top:1px solid var(--edge);padding-top:.6rem}
.item legend{font-weight:600;padding:0}
@media (min-width:48rem){.item.short .tick{display:inline-flex;margin-right:.5rem}}
.figures table{border-collapse:collapse;font-variant-numeric:tabular-nums}
.figures th,.figures td{padding:.15rem .5rem;border-bottom:1px solid var(--edge);text-align:right;vertical-align:baseline}
.figures td,.figures .many:not(.long) th[scope=row]{white-space:nowrap}
.figures th .soft{font-size:inherit}
.figures th,.figures td{overflow-wrap:normal}
.figures .long th[scope=row]{min-width:min(20rem,45vw)}
.figures th[scope=row],.figures th:first-child{text-align:left}
.figures .many{font-size:.8rem}
.figures .many td,.figures .many th{padding:.15rem .25rem}
.figures .many td{white-space:normal}
.figures .wide{overflow-x:auto}
.sheet{width:100%;height:auto;background:#fff;border:1px solid var(--edge)}
ins{text-decoration-thickness:2px}
.month{list-style:none;margin:0;padding:0}
.month li{border-top:1px solid var(--edge);padding:.4rem 0}
.month li[aria-current]{border:2px solid var(--bar);border-radius:.4rem;padding:.3rem .5rem}
.month h3{margin:.2rem 0}
.month p{margin:.15rem 0;font-size:.9rem}
.piece{display:block;padding-left:.8rem;text-indent:-.8rem}
.at{color:var(--soft);white-space:nowrap}
.value{display:grid;grid-template-columns:minmax(5rem,1fr) minmax(7rem,2fr);gap:0 .5rem;align-items:center}
legend{padding:0;font-weight:600;margin-top:.8rem}
input[type=file]{width:100%;min-height:3rem}
input[type=datetime-local],input[type=date],input[type=time],input[type=number]{width:100%;min-height:3.25rem;padding:.6rem .75rem;border:2px solid var(--button-edge);border-radius:.6rem;background:var(--raised);font:inherit;color:inherit}
@media (min-width:60rem){.month{display:grid;grid-template-columns:repeat(7,minmax(0,1fr));gap:.4rem;width:calc(100vw - 2rem);max-width:90rem;position:relative;left:50%;transform:translateX(-50%)}.month li{border:1px solid var(--edge);border-radius:.4rem;padding:.4rem}.start-2{grid-column-start:2}.start-3{grid-column-start:3}.start-4{grid-column-start:4}.start-5{grid-column-start:5}.start-6{grid-column-start:6}.start-7{grid-column-start:7}}
.ways{display:flex;flex-wrap:wrap;gap:.3rem 1rem}
.ways a{display:inline-flex;align-items:center;min-height:3rem;padding:0 .3rem}
.beside{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(16rem,100%),1fr));gap:0 1rem;align-items:start}
.beside section{min-width:0}
.said{padding:.3rem 0;border-top:1px solid var(--edge)}
.said p{margin:.1rem 0;white-space:pre-line}
mark{background:none;color:inherit;text-decoration:underline;text-decoration-thickness:2px;font-weight:600}
.wide{max-width:60rem}
.due{white-space:nowrap;font-weight:700}
.photo{display:block;max-width:100%;max-height:80vh;height:auto}
@media print{html{font-size:10.5pt}.clinic-nav,.screen-only,.caution,.banner,.ways{display:none}main{max-width:none}section{break-inside:avoid}.figures .wide{overflow:visible;max-width:none}.figures table{font-size:8pt}.figures th,.figures td{white-space:normal;padding:.1em .3em}.figures .long th[scope=row]{min-width:16em}.figures .many{font-size:6pt}.figures .many th,.figures .many td{padding:.1em .15em}}
${PLOT_STYLE}
`
