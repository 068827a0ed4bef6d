// Loaded before the bot with `node --import`: at every SIGUSR2 its wall clock jumps by CLOCK_STEP_MS (negative: back), in
// the middle of the night. The monotonic clock and every timer go on: set back or ahead by hand, or, ahead, woken from sleep.
const by = Number(process.env.CLOCK_STEP_MS ?? 0)
const before = Date.now.bind(Date)
let jumped = 0
Date.now = () => before() + jumped
process.on('SIGUSR2', () => {
  jumped += by
})
