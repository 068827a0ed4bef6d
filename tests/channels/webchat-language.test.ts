import { describe, expect, test } from 'vitest'
import type { Spoken } from '../../src/channels/webchat/family-log.ts'
import { webchat } from '../../src/channels/webchat/webchat.ts'
import { webFamily } from '../support/web-family.ts'
import { nonceOn, visitor } from '../support/web-visitor.ts'

/** The played clinic in English and a made-up Spanish: each of its words with a mark before it. */
function open() {
  const { ports, calls } = webFamily()
  const spanish: Spoken = {
    ...ports,
    wording: (id, values) => `ES ${ports.wording(id, values)}`,
    concerns: () => [{ id: 'tube-out', label: 'ES out' }],
    language: 'es',
  }
  const languages = [
    { tag: 'en', name: 'English' },
    { tag: 'es', name: 'español' },
  ]
  const english: Spoken = { ...ports, language: 'en' }
  const inLanguage = (tag: string) => (tag === 'es' ? spanish : english)
  const channel = webchat({ ...ports, language: 'en', languages, inLanguage, deskLanguage: 'en' })
  return { calls, parent: visitor(channel.fetch) }
}
const text = async (response: Promise<Response>) => (await response).text()

describe('the first screen', () => {
  test.each([
    ['es-MX,es;q=0.9,en;q=0.8', 'es'],
    ['fr,en;q=0.5,es;q=0.4', 'en'],
    ['en;q=0.1, es', 'es'],
    ['fr', 'en'],
    ['es;q=0', 'en'],
    ['', 'en'],
    [';;,q=,,=', 'en'],
  ])('of a browser that asks for "%s" is in %s', async (accepted, language) => {
    const { parent } = open()
    const markup = await text(parent.get('/', { 'accept-language': accepted }))
    expect(markup).toContain(`<html lang="${language}">`)
    expect(markup.includes('ES out')).toBe(language === 'es')
  })

  test('links to the other language by its own name, without script', async () => {
    const { parent } = open()
    const markup = await text(parent.get('/'))
    expect(markup).toMatch(/<a [^>]*href="\/\?lang=es" lang="es" hreflang="es">español<\/a>/)
    expect(await text(parent.get('/?lang=es'))).toContain('<html lang="es">')
  })

  test('says in what is sent which language it was', async () => {
    const { parent, calls } = open()
    const markup = await text(parent.get('/?lang=es'))
    await parent.post('/say', { text: 'hola', nonce: nonceOn(markup), lang: 'es' })
    expect(calls.at(-1)).toMatchObject({ language: 'es', body: { kind: 'text', text: 'hola' } })
  })

  test('a language that is none of ours changes nothing', async () => {
    const { parent } = open()
    expect(await text(parent.get('/?lang=%22%3E%3Cscript%3E'))).toContain('<html lang="en">')
  })
})

describe('a page of refusal', () => {
  test('is in the language the browser asks for', async () => {
    const { parent } = open()
    expect(await text(parent.get('/nowhere', { 'accept-language': 'es' }))).toContain('<html lang="es">')
  })
})

describe('in the conversation', () => {
  test('another language is one button away, and is passed on as such', async () => {
    const { parent, calls } = open()
    const first = await text(parent.get('/'))
    await parent.post('/say', { concern: 'tube-out', nonce: nonceOn(first) })
    const markup = await text(parent.get('/'))
    expect(markup).toMatch(/name="subject" value="es"><button [^>]*name="control" value="language" lang="es">español/)
    await parent.post('/say', { control: 'language', subject: 'es', nonce: nonceOn(markup) })
    expect(calls.at(-1)?.body).toEqual({ kind: 'control', control: 'language', subject: 'es' })
  })
})
