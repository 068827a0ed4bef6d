/** The cookie of somebody signed in. Not the family's: a person may be both. */
const NAME = 'clinic'

/** The token of a Cookie header; undefined where there is none of ours. Of two, none counts: somebody else set one. */
export function clinicTokenIn(header: string | null, isSecure: boolean): string | undefined {
  const name = isSecure ? `__Host-${NAME}` : NAME
  const found = (header ?? '').split(';').flatMap(pair => {
    const [key = '', value = ''] = pair.trim().split('=', 2)
    return key === name ? [value] : []
  })
  const [token] = found
  return found.length === 1 && token !== undefined && /^[\w-]{43}$/.test(token) ? token : undefined
}

/**
 * `Lax`: whoever follows a link from a mail must arrive signed in; nothing changes on a GET, and every POST is checked for
 * where it comes from. It ends with the browser, and the session before that.
 */
export function clinicCookie(token: string, isSecure: boolean): string {
  const rest = `Path=/; HttpOnly; SameSite=Lax`
  return isSecure ? `__Host-${NAME}=${token}; ${rest}; Secure` : `${NAME}=${token}; ${rest}`
}

/** Takes the cookie away. */
export const noClinicCookie = (isSecure: boolean): string => `${clinicCookie('', isSecure)}; Max-Age=0`
