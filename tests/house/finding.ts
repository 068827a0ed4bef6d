/** Something that breaks a rule of the house. */
export interface Finding {
  readonly path: string
  /** 1-based; 1 where the file as a whole is meant. */
  readonly line: number
  readonly found: string
  readonly instead: string
}

export function findingText({ path, line, found, instead }: Finding): string {
  return `${path}:${line} ${found}; ${instead}`
}
