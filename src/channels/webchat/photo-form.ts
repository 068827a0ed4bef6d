/** A posted form with one photo in it. */
export interface PhotoPosted {
  readonly file: Uint8Array
}

/** The photo of a posted form; undefined where it is no such form, or holds none or several. */
export async function photoPosted(body: Uint8Array, contentType: string | null): Promise<PhotoPosted | undefined> {
  if (!/^multipart\/form-data\s*;/i.test(contentType ?? '')) return undefined
  try {
    const form = await new Response(Buffer.from(body), { headers: { 'Content-Type': contentType ?? '' } }).formData()
    const [file, another] = form.getAll('photo')
    if (!(file instanceof File) || file.size === 0 || another !== undefined) return undefined
    return { file: new Uint8Array(await file.arrayBuffer()) }
  } catch {
    return undefined
  }
}
