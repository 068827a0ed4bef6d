/** Which photos of families are kept: where the clinic allows it, for the one open case a chat is about. */
import type { Line } from '../case/line.ts'
import type { PhotosAllowed } from '../config/photos-section.ts'
import type { PhotoContent, PhotoFolder } from '../store/photo-folder.ts'
import type { StoredCase } from '../store/store.ts'
import type { Instant } from '../time/instant.ts'
import { caseNow } from './family-view.ts'

export interface PhotoSendingPorts {
  readonly photos: PhotoFolder
  /** What the clinic's file says now; undefined: none is taken. */
  readonly allowed: () => PhotosAllowed | undefined
  readonly lineOf: (cases: readonly StoredCase[]) => Line
}

export interface PhotoSending {
  /** How many more may be sent in a chat of these cases now. */
  left(cases: readonly StoredCase[]): Promise<number>
  /** The id of the photo kept; undefined where none may be now. */
  keep(cases: readonly StoredCase[], photo: PhotoContent, at: Instant): Promise<string | undefined>
}

export function photoSending({ photos, allowed, lineOf }: PhotoSendingPorts): PhotoSending {
  /** Of two children at once nobody could tell whose it is: then none is taken. */
  function caseFor(cases: readonly StoredCase[]): { readonly caseId: string; readonly most: number } | undefined {
    const may = allowed()
    const [open, another] = cases.filter(({ closed }) => !closed)
    if (may === undefined || open === undefined || another !== undefined) return undefined
    const concern = caseNow(lineOf(cases), [open])?.concern
    return concern !== undefined && may.concerns.includes(concern)
      ? { caseId: open.caseId, most: may.atMost }
      : undefined
  }

  return {
    async left(cases) {
      const found = caseFor(cases)
      return found === undefined ? 0 : Math.max(0, found.most - (await photos.of(found.caseId)).length)
    },
    async keep(cases, photo, at) {
      const found = caseFor(cases)
      if (found === undefined) return undefined
      const kept = await photos.keep(found.caseId, photo, at, found.most)
      return typeof kept === 'string' ? undefined : kept.id
    },
  }
}
