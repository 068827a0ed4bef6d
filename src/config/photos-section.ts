import { z } from 'zod'
import type { PartReader } from './part-reader.ts'

/** Whether and in which troubles a family may send a photo for the clinician. Left out of the clinic's file: never. */
export interface PhotosAllowed {
  readonly concerns: readonly string[]
  /** Photos of one case, at most. */
  readonly atMost: number
}

const AT_MOST = 10
const AT_MOST_SHIPPED = 3

const photosShape = z.strictObject(
  {
    concerns: z
      .array(z.string().regex(/^[a-z-]+$/, { error: 'the name of a flow, such as skin' }), {
        error: 'a list of flows, such as [skin]',
      })
      .min(1, { error: 'a list of flows, such as [skin]; leave the section out where no photo is taken' }),
    'at-most': z
      .int({ error: `a number of photos of one case, 1 to ${AT_MOST}` })
      .min(1, { error: `a number of photos of one case, 1 to ${AT_MOST}` })
      .max(AT_MOST, { error: `a number of photos of one case, 1 to ${AT_MOST}` })
      .default(AT_MOST_SHIPPED),
  },
  { error: 'photos: concerns, at-most' },
)

/** The section `photos`. */
export function photosIn(reader: PartReader): PhotosAllowed | undefined {
  const read = reader.valueAt(['photos']) === undefined ? undefined : reader.part(['photos'], photosShape)
  return read === undefined ? undefined : { concerns: read.concerns, atMost: read['at-most'] }
}
