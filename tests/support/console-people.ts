import { ROLES, type Role } from '../../src/accounts/authority.ts'
import type { SignedIn } from '../../src/accounts/signed-in.ts'

/** Somebody signed in, in these roles. */
export const someone = (roles: readonly Role[] = ROLES, isOnCall = true): SignedIn => ({
  personId: 'amara',
  name: 'Amara Osei',
  roles,
  isOnCall,
  sessionId: 's1',
  how: 'password',
})
