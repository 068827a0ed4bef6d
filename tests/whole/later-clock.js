// Loaded before the bot with `node --import`: its wall clock then stands CLOCK_AHEAD_MS ahead of the machine's. A test
// can so start it at night, and again later, as after a power cut. The monotonic clock and every timer stay as they are.
const ahead = Number(process.env.CLOCK_AHEAD_MS ?? 0)
const realNow = Date.now.bind(Date)
Date.now = () => realNow() + ahead
