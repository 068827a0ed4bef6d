import type { AlarmDocument, StepDocument } from './document.ts'

/** A step with every reference resolved: ids of shared steps carry `shared/`. */
export interface Step extends Omit<StepDocument, 'route' | 'go' | 'alarms'> {
  readonly id: string
  /** `go` is written as a one-row route. Empty for wait and end. */
  readonly rows: readonly { readonly if: Readonly<Record<string, readonly string[]>>; readonly go: string }[]
  readonly alarms: readonly AlarmDocument[]
}

/** Steps every line has; they can be reached at any moment. */
export const ANY_TIME_STEPS = ['shared/emergency', 'shared/person', 'shared/cannot-travel'] as const
