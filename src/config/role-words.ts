/** The roles that the shipped clinic's file has, in other languages; others are called as the clinic calls them. */
const SPANISH: Readonly<Record<string, string>> = { first: 'primera', second: 'segunda', third: 'tercera' }

/** A role of the rota as people read it. */
export function roleText(role: string, language: string): string {
  return (language.startsWith('es') ? SPANISH[role] : undefined) ?? role.replaceAll('-', ' ')
}
