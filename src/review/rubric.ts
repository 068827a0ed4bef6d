import { z } from 'zod'

const GROUPS = ['told', 'asked', 'acted-on', 'reached'] as const

const item = z.strictObject({
  id: z.string().regex(/^[a-z0-9]+(-[a-z0-9]+)*$/, 'an id in lower case with single hyphens'),
  group: z.enum(GROUPS),
  asks: z.string().min(10).max(200),
  /** Whether "does not apply" may be answered. */
  'may-not-apply': z.boolean().default(false),
  because: z.string().min(10),
  source: z.string().min(10),
})

const ITEMS_LEAST = 15
const ITEMS_MOST = 20

/**
 * What reviewers answer of every case: yes or no, yes always the good one. Fifteen to twenty items: scales of many points agree
 * worse than yes and no, and long forms tire (P. Smits and others 2017; M. Graversen and others 2019).
 */
const rubricSchema = z
  .strictObject({
    version: z.number().int().min(1),
    items: z.array(item).min(ITEMS_LEAST).max(ITEMS_MOST),
  })
  .refine(({ items }) => new Set(items.map(({ id }) => id)).size === items.length, 'each id once')

export type Rubric = z.infer<typeof rubricSchema>
export type RubricItem = Rubric['items'][number]
export const RUBRIC_GROUPS: readonly RubricItem['group'][] = GROUPS

/** The rubric in a parsed file, or what is wrong with it, a sentence each. */
export function rubricIn(value: unknown): { readonly rubric: Rubric } | { readonly faults: readonly string[] } {
  const read = rubricSchema.safeParse(value)
  if (read.success) return { rubric: read.data }
  return { faults: read.error.issues.map(({ path, message }) => `${path.join('.') || 'the file'}: ${message}`) }
}
