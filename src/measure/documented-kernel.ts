import { transition } from 'xstate'
import type { Flow, FlowSet } from '../flow/flow-set.ts'
import type { KernelEffect, KernelEvent, KernelState } from '../flow/kernel.ts'

/** The documented way from a stored state to the next one: the peer that other ways are measured beside. */
export function stepAsDocumented({ kernel }: Flow, { talk, callout, closure, facts }: KernelState, event: KernelEvent) {
  const { machine } = kernel
  const snapshot = machine.resolveState({ value: { talk, callout, closure }, context: { facts } } as never)
  return transition(machine, snapshot as never, event as never)
}

/** The same flows, each stepped that way. */
export function onTransition(set: FlowSet): FlowSet {
  const flows = [...set.flows].map(([id, flow]) => {
    const step = (state: KernelState, event: KernelEvent) => {
      const [next, actions] = stepAsDocumented(flow, state, event)
      const { talk, callout, closure } = next.value as unknown as Record<'talk' | 'callout' | 'closure', string>
      const { facts } = next.context as unknown as Pick<KernelState, 'facts'>
      const asked = actions as unknown as readonly { readonly type: string; readonly params: KernelEffect }[]
      const effects = asked.filter(({ type }) => type === 'effect').map(({ params }) => params)
      return { state: { talk, callout, closure, facts }, effects }
    }
    return [id, { ...flow, kernel: { ...flow.kernel, step } }] as const
  })
  return { ...set, flows: new Map(flows) }
}
