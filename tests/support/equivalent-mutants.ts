/** Edits that change nothing anybody could notice, by id, each with its reason. */
export const EQUIVALENT: Readonly<Record<string, string>> = {}
