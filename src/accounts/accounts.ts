import type { AccountPorts } from './account-ports.ts'
import type { AccountStore } from './account-store.ts'
import { type Sessions, sessions } from './sessions.ts'
import { type SignIn, signIn } from './sign-in.ts'
import { type WaysIn, waysIn } from './ways-in.ts'

/** Everything about how people of the clinic sign in, on one store. */
export interface Accounts {
  readonly store: AccountStore
  readonly sessions: Sessions
  readonly signIn: SignIn
  readonly waysIn: WaysIn
}

export function accounts(ports: AccountPorts): Accounts {
  const all = sessions(ports)
  return { store: ports.store, sessions: all, signIn: signIn(ports, all), waysIn: waysIn(ports, all) }
}
