import fc from 'fast-check'

/**
 * Seeds every fast-check property the same way, so that a run can be repeated. A failing property prints its seed;
 * `SEED=… npm test` looks at other values. Every seed that ever failed becomes a named test.
 */
const seed = Number(process.env.SEED ?? 20_260_301)
if (!Number.isInteger(seed)) throw new Error(`SEED is ${process.env.SEED}; expected a whole number, such as 7`)
fc.configureGlobal({ ...fc.readConfigureGlobal(), seed })
