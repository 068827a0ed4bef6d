/** Questions of the line itself, which no flow asks. Their words and values are facts like any other. */

/** What it is about: a button for each concern. */
export const ABOUT = 'about'

/** Whether to go on with what else was named. */
export const ALSO_NOW = 'also-now'

export const isLineQuestion = (fact: string): boolean => fact === ABOUT || fact === ALSO_NOW
