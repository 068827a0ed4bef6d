export { type HandClock, handClock } from '../../src/runtime/hand-clock.ts'
