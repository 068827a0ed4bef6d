import { alarmsArea } from './alarms-area.ts'
import { caseArea } from './case-area.ts'
import { checkArea } from './check-area.ts'
import { commitArea } from './commit-area.ts'
import type { Measured } from './figure.ts'
import { heldArea } from './held-area.ts'
import { kernelArea } from './kernel-area.ts'
import { memoryArea } from './memory-area.ts'
import { redisAlarmsArea } from './redis-alarms-area.ts'
import { redisArea } from './redis-area.ts'
import { replayArea } from './replay-area.ts'
import { reviewArea } from './review-area.ts'
import { rotaArea } from './rota-area.ts'
import { startArea } from './start-area.ts'
import type { AreaContext } from './subject.ts'
import { telegramArea } from './telegram-area.ts'
import { understandingArea } from './understanding-area.ts'

export type Area = (context: AreaContext) => Promise<readonly Measured[]>

/** What is measured, by the name that `--only` takes, in the order it is measured. */
export const AREAS: Readonly<Record<string, Area>> = {
  kernel: kernelArea,
  commit: commitArea,
  alarms: alarmsArea,
  understanding: understandingArea,
  rota: rotaArea,
  case: caseArea,
  check: checkArea,
  replay: replayArea,
  review: reviewArea,
  start: startArea,
  memory: memoryArea,
  telegram: telegramArea,
  redis: redisArea,
  'redis-alarms': redisAlarmsArea,
  held: heldArea,
}
