import fc from 'fast-check'
import { DateTime } from 'luxon'
import { describe, expect, it } from 'vitest'
import { instant } from '../../src/time/instant.ts'
import { localParts } from '../../src/time/local-instants.ts'
import { clockSaid, clockText } from '../../src/time/local-time.ts'
import { readDate, readDuration, readMoment } from '../../src/time/phrases.ts'
import { daysShown, instantAt, shown } from './said.ts'

/**
 * What a caregiver near Chicago types in Spanish, with and without accents, at 02:10 on Sunday 1 March 2026. Labels by hand, clock
 * and calendar counted out. Widths are those of the English words: our own, no source. What "las 12 de la noche", "de la madrugada",
 * "cuarto para las dos", "ocho días" (a week) and "quince días" (two) mean: Real Academia Española and Asociación de Academias,
 * Diccionario panhispánico de dudas, "hora"; Diccionario de la lengua española, "día"; both from memory.
 */
const ZONE = 'America/Chicago'
const context = { at: instantAt('2026-03-01 02:10', ZONE), zone: ZONE, language: 'es-MX' }
const moment = (text: string): string => shown(readMoment(text, context), ZONE)

describe('how long ago, said at 02:10', () => {
  it.each([
    ['hace 20 minutos', '01:45-01:52'],
    ['hace veinte minutos', '01:45-01:52'],
    ['hace veinticinco min', '01:40-01:47'],
    ['20 minutos', '01:45-01:52'],
    ['hace 20 min más o menos', '01:45-01:55'],
    ['hace como 20 minutos', '01:45-01:55'],
    ['hace unos 20 minutos', '01:45-01:55'],
    ['hace media hora', '01:35-01:45'],
    ['hace una media hora', '01:30-01:50'],
    ['como hace media hora', '01:30-01:50'],
    ['hace ½ hora', '01:35-01:45'],
    ['hace una hora', '01:00-01:20'],
    ['hace hora y media', '00:30-00:50'],
    ['hace una hora y media', '00:30-00:50'],
    ['hace una hora y cuarto', '00:45-01:05'],
    ['hace 1 hora 20 minutos', '00:45-00:52'],
    ['hace una hora y veinte', '00:45-00:52'],
    ['1h30', '00:35-00:42'],
    ['hace 1,5 horas', '00:30-00:50'],
    ['hace treinta y cinco minutos', '01:30-01:37'],
    ['hace dos horas', '23:55-00:25 the day before'],
    ['hace 2 o 3 horas', '23:10-00:10 the day before'],
    ['hace de 2 a 3 horas', '23:10-00:10 the day before'],
    ['entre 20 y 30 minutos', '01:40-01:50'],
    ['hace un par de horas', '23:10-00:40 the day before'],
    ['hace unos minutos', '01:55-02:09'],
    ['hace unos cuantos minutos', '01:55-02:09'],
    ['hace un cuarto de hora', '01:50-02:00'],
    ['hace tres cuartos de hora', '01:20-01:30'],
    ['hace menos de una hora', '01:10-02:10'],
    ['hace casi dos horas', '00:10-00:40'],
    ['hace poco más de una hora', '00:55-01:10'],
    ['hace una hora y pico', '00:10-01:10'],
    ['en la última media hora', '01:40-02:10'],
    ['en las últimas 2 horas', '00:10-02:10'],
    ['lleva 2 horas fuera', '23:55-00:25 the day before'],
    ['ya tiene como una hora que se salió', '00:55-01:25'],
    ['desde hace 40 minutos', '01:25-01:32'],
    ['ahora mismo', '02:00-02:10'],
    ['se acaba de salir', '02:00-02:10'],
    ['recién se salió', '02:00-02:10'],
    ['hace un momento', '02:00-02:10'],
    ['la sonda se salió hace 20 minutos', '01:45-01:52'],
    ['SE SALIÓ HACE 20 MINUTOS!!!', '01:45-01:52'],
    ['hace 20 minutos 😢', '01:45-01:52'],
    ['hace dos dias', '14:10 2026-02-26'],
    ['la última toma fue hace 3 horas', '22:55-23:25 the day before'],
  ])('"%s" is %s', (text, expected) => expect(moment(text)).toBe(expected))
})

describe('at what time, said at 02:10', () => {
  it.each([
    ['a la 1', '01:00'],
    ['a la una y media', '01:30'],
    ['a las 2 menos cuarto', '01:45'],
    ['cuarto para las dos', '01:45'],
    ['10 para las 2', '01:50'],
    ['faltaban 10 para las 2', '01:50'],
    ['20 para la una', '00:40'],
    ['a las 11 de la noche', '23:00 the day before'],
    ['a las 9:40', '21:40 the day before'],
    ['21:40', '21:40 the day before'],
    ['a las 2140', '21:40 the day before'],
    ['a las 21:40 horas', '21:40 the day before'],
    ['1:30 am', '01:30'],
    ['1:30 a. m.', '01:30'],
    ['9.40 p.m.', '21:40 the day before'],
    ['a las dos treinta', '14:30 the day before'],
    ['a las nueve cuarenta y cinco de la noche', '21:45 the day before'],
    ['anoche como a las once', '22:45-23:15 the day before'],
    ['anoche a las 11', '23:00 the day before'],
    ['ayer a las 9 de la noche', '21:00 the day before'],
    ['ayer en la noche a las 10', '22:00 the day before'],
    ['ayer por la tarde a las 4', '16:00 the day before'],
    ['el viernes a las 9 de la noche', '21:00 2026-02-27'],
    ['el sábado en la noche a las 10', '22:00 the day before'],
    ['a las 12 de la noche', '00:00'],
    ['a medianoche', '00:00'],
    ['a media noche', '00:00'],
    ['12:00 medianoche', '00:00'],
    ['12:00 mediodía', '12:00 the day before'],
    ['las 12:00 de la medianoche', '00:00'],
    ['las 12:05 de la noche', '00:05'],
    ['las 0:30', '00:30'],
    ['a las 24:00', '00:00'],
    ['al mediodía', '12:00 the day before'],
    ['a las 12 del medio día', '12:00 the day before'],
    ['a las 12 del día', '12:00 the day before'],
    ['ayer al mediodía', '12:00 the day before'],
    ['a la una de la madrugada', '01:00'],
    ['a las 2 de la mañana', '02:00'],
    ['hoy a la 1 de la mañana', '01:00'],
    ['esta madrugada a la 1', '01:00'],
    ['a las 3', '15:00 the day before'],
    ['desde la 1', '01:00'],
    ['desde las 3', '15:00 the day before'],
    ['por las 11', '22:45-23:15 the day before'],
    ['a eso de las 11', '22:45-23:15 the day before'],
    ['tipo 11 de la noche', '22:45-23:15 the day before'],
    ['fue a las 11 pm creo', '22:45-23:15 the day before'],
    ['no sé, como a las 11', '22:45-23:15 the day before'],
    ['poco antes de la 1', '00:45-01:00'],
    ['poco después de la 1', '01:00-01:15'],
    ['casi a la 1', '00:45-01:00'],
    ['a la 1 y pico', '01:00-02:00'],
    ['después de la 1', '01:00-02:10'],
    ['ya pasadas las 12', '00:00-02:10'],
    ['entre la 1 y la 1:30', '01:00-01:30'],
    ['de 1 a 2', '01:00-02:00'],
    ['entre las 9 y las 10 de la noche', '21:00-22:00 the day before'],
    ['1:30-2:00', '01:30-02:00'],
    ['la vi puesta a la 1', '01:00-02:10'],
    ['la última vez que la vi fue a las 11', '23:00-02:10 the day before'],
    ['la vi bien a la 1 y la encontré afuera a las 2', '01:00-02:00'],
    ['no, a la 1', '01:00'],
    ['a las 2, no, a la 1', '01:00'],
    ['no fue a la 1 sino a las 12 de la noche', '00:00'],
    ['20 minutos, perdón, una hora', '01:00-01:20'],
    ['la comida terminó a las 10 de la noche', '22:00 the day before'],
    ['el último pañal fue a las 9', '21:00 the day before'],
  ])('"%s" is %s', (text, expected) => expect(moment(text)).toBe(expected))

  it('a time just ahead is asked about, and not taken for yesterday’s', () => {
    expect(moment('como a las 2 y cuarto')).toBe('ask time-future')
  })
})

describe('what is not sure', () => {
  it.each([
    ['no sé', 'ask time-unclear'],
    ['hace un ratito', 'ask time-unclear'],
    ['hace rato', 'ask time-unclear'],
    ['ahorita', 'ask time-unclear'],
    ['hace más de una hora', 'ask time-unclear'],
    ['antes de la 1', 'ask time-unclear'],
    ['la encontré fuera a las 2', 'ask time-unclear'],
    ['durante la toma', 'ask time-unclear'],
    ['a las 12 de la mañana', 'ask time-unclear'],
    ['anoche a la 1', 'ask time-unclear'],
    ['ayer a la 1', 'ask time-unclear'],
    ['ayer a las 12 de la noche', 'ask two-answers'],
    ['a la 1, no, a las 2', 'ask two-answers'],
    ['no fue a la 1', 'ask time-unclear'],
    ['a las 11 o a la 1', 'ask two-answers'],
    ['son las 2 y se salió hace media hora', 'ask two-answers'],
    ['no hace ni 10 minutos', 'ask time-unclear'],
    ['después de 2 tomas', 'ask time-unclear'],
    ['mañana', 'ask time-unclear'],
    ['en 20 minutos', 'ask time-future'],
    ['a las 2:20', 'ask time-future'],
    ['a las 25:00', 'ask time-impossible'],
    ['3', 'ask time-unclear'],
    ['hora', 'ask time-unclear'],
    ['se salió a la 1 y la volví a poner a las 2', 'ask two-answers'],
  ])('is asked again: "%s"', (text, expected) => expect(moment(text)).toBe(expected))
})

describe('when the first tube was placed, said on Sunday 1 March 2026', () => {
  it.each([
    ['hace 3 semanas', '2026-02-04..2026-02-12'],
    ['hace tres semanas', '2026-02-04..2026-02-12'],
    ['hace como tres semanas', '2026-02-02..2026-02-14'],
    ['hace un mes y medio', '2026-01-09..2026-01-25'],
    ['hace 2 meses', '2025-12-17..2026-01-17'],
    ['hace 8 días', '2026-02-20..2026-02-22'],
    ['hace quince días', '2026-02-13..2026-02-15'],
    ['hace un año', '2024-12-01..2025-06-01'],
    ['hace más de un año', '2006-03-01..2025-03-01'],
    ['hace menos de una semana', '2026-02-18..2026-03-01'],
    ['hace de 6 a 8 semanas', '2026-01-04..2026-01-18'],
    ['hace unos meses', '2025-09-01..2026-01-01'],
    ['en agosto', '2025-08-01..2025-08-31'],
    ['en agosto del 2025', '2025-08-01..2025-08-31'],
    ['en agosto de 2025', '2025-08-01..2025-08-31'],
    ['el 3 de agosto', '2025-08-03'],
    ['3 de agosto del 2025', '2025-08-03'],
    ['3 ago 2025', '2025-08-03'],
    ['el primero de febrero', '2026-02-01'],
    ['el 1º de febrero', '2026-02-01'],
    ['25/12/2025', '2025-12-25'],
    ['12/25/2025', '2025-12-25'],
    ['3/8/2025', 'ask two-answers'],
    ['2025-08-03', '2025-08-03'],
    ['la semana pasada', '2026-02-16..2026-02-28'],
    ['el mes pasado', '2026-02-01..2026-02-28'],
    ['el año pasado', '2025-01-01..2025-12-31'],
    ['esta semana', '2026-02-23..2026-03-01'],
    ['ayer', '2026-02-28'],
    ['antier', '2026-02-27'],
    ['anteayer', '2026-02-27'],
    ['hoy', '2026-03-01'],
    ['anoche', '2026-02-28..2026-03-01'],
    ['el viernes', '2026-02-27'],
    ['el viernes pasado', '2026-02-20..2026-02-27'],
    ['a principios de febrero', '2026-02-01..2026-02-28'],
    ['a finales de diciembre', '2025-12-01..2025-12-31'],
    ['en el 2024', '2024-01-01..2024-12-31'],
    ['entre enero y febrero', '2026-01-01..2026-02-28'],
    ['agosto pasado', '2025-08-01..2025-08-31'],
    ['setiembre', '2025-09-01..2025-09-30'],
    ['le pusieron la sonda el 3 de febrero', '2026-02-03'],
    ['30 de febrero', 'ask time-impossible'],
    ['el 15 de marzo', 'ask time-future'],
    ['en agosto del año pasado', 'ask two-answers'],
    ['hace 20 minutos', 'ask time-unclear'],
    ['recién nacido', 'ask time-unclear'],
    ['no sé', 'ask time-unclear'],
  ])('"%s" is %s', (text, expected) => expect(daysShown(readDate(text, context), ZONE)).toBe(expected))
})

describe('how long it takes', () => {
  it.each([
    ['25 minutos', '25 min'],
    ['media hora', '30 min'],
    ['como media hora', '20-40 min'],
    ['unos 20 a 30 minutos', '15-35 min'],
    ['de 20 a 30 minutos', '20-30 min'],
    ['entre 20 y 30 minutos', '20-30 min'],
    ['20-30 min', '20-30 min'],
    ['hora y media', '90 min'],
    ['1 hora 15', '75 min'],
    ['1h15', '75 min'],
    ['a 25 minutos', '25 min'],
    ['queda a media hora del hospital', '30 min'],
    ['tardo 25 minutos en carro', '25 min'],
    ['como 40 minutos manejando', '30-50 min'],
    ['hasta 30 minutos', '0-30 min'],
    ['casi una hora', '45-60 min'],
    ['15 minutitos', '15 min'],
    ['más de una hora', 'ask time-unclear'],
    ['30 horas', 'ask time-impossible'],
    ['lejos', 'ask time-unclear'],
    ['no sé', 'ask time-unclear'],
    ['25', 'ask time-unclear'],
  ])('"%s" is %s', (text, expected) => expect(shown(readDuration(text, context), ZONE)).toBe(expected))
})

const MINUTE = 60_000
const zone = fc.constantFrom('America/Mexico_City', 'America/Chicago', 'America/New_York', 'Europe/Madrid')
const at = fc.integer({ min: Date.UTC(2020, 0, 1), max: Date.UTC(2035, 0, 1) }).map(instant)
const withoutAccents = (text: string): string => text.normalize('NFD').replace(/\p{M}/gu, '')
const accents = fc.boolean()

describe('what was said lies within what was read', () => {
  const forms: readonly ((count: number) => string)[] = [
    count => `hace ${count} minutos`,
    count => `${count} min`,
    count => `hace más o menos ${count} minutos`,
    count => `se le salió hace como ${count} minutos`,
    count => `la sonda se salió hace unos ${count} minutos, creo`,
    count => `hace entre ${count} y ${count + 10} minutos`,
    count => `la última vez que la vi puesta fue hace ${count} minutos`,
    count => `hace menos de ${count + 1} minutos`,
  ]
  it('a number of minutes ago, in any of these forms, with accents or without', () => {
    fc.assert(
      fc.property(
        at,
        zone,
        fc.integer({ min: 1, max: 600 }),
        fc.constantFrom(...forms),
        accents,
        (now, where, count, form, isPlain) => {
          const text = isPlain ? withoutAccents(form(count)) : form(count)
          const reading = readMoment(text, { at: now, zone: where, language: 'es' })
          if (reading.kind !== 'between') throw new Error(`${text} was not read: ${reading.reason}`)
          expect(reading.earliest).toBeLessThanOrEqual(now - count * MINUTE)
          expect(reading.latest).toBeGreaterThanOrEqual(now - count * MINUTE)
          expect(reading.latest).toBeLessThanOrEqual(now)
        },
      ),
    )
  })

  it('a clock time of the last ten hours, with the part of the day or in twenty-four hours', () => {
    const said = (then: DateTime, form: 'words' | 'short' | '24h' | 'quarters'): string => {
      const hour = then.hour % 12 === 0 ? 12 : then.hour % 12
      const part =
        then.hour === 0 || then.hour >= 20
          ? 'de la noche'
          : then.hour < 6
            ? 'de la madrugada'
            : then.hour < 12
              ? 'de la mañana'
              : 'de la tarde'
      const article = hour === 1 ? 'la' : 'las'
      if (form === 'short') return `${hour}:${then.toFormat('mm')} ${then.hour < 12 ? 'a. m.' : 'p. m.'}`
      if (form === '24h') return `a las ${then.toFormat('HH:mm')}`
      const minute =
        then.minute === 0
          ? ''
          : then.minute === 15
            ? ' y cuarto'
            : then.minute === 30
              ? ' y media'
              : ` y ${then.minute}`
      return `a ${article} ${hour}${minute} ${part}`
    }
    fc.assert(
      fc.property(
        at,
        zone,
        fc.nat(600),
        fc.constantFrom('words' as const, 'short' as const, '24h' as const, 'quarters' as const),
        accents,
        (now, where, back, form, isPlain) => {
          const then = DateTime.fromMillis(now - back * MINUTE, { zone: where }).startOf('minute')
          const quarter = form === 'quarters' ? then.set({ minute: Math.floor(then.minute / 15) * 15 }) : then
          fc.pre(quarter.toMillis() <= now)
          const text = said(quarter, form)
          const reading = readMoment(isPlain ? withoutAccents(text) : text, { at: now, zone: where, language: 'es' })
          if (reading.kind !== 'between') throw new Error(`${text} was not read: ${reading.reason}`)
          expect(reading.earliest, text).toBeLessThanOrEqual(quarter.toMillis())
          expect(reading.latest, text).toBeGreaterThanOrEqual(quarter.toMillis())
        },
      ),
    )
  })

  it('a clock time without a part of the day, or asked about', () => {
    fc.assert(
      fc.property(at, zone, fc.nat(630), (now, where, back) => {
        const then = DateTime.fromMillis(now - back * MINUTE, { zone: where }).startOf('minute')
        const reading = readMoment(then.toFormat("'a las' h:mm"), { at: now, zone: where, language: 'es' })
        if (reading.kind === 'between') expect(reading.earliest).toBeLessThanOrEqual(then.toMillis())
      }),
    )
  })

  it('a calendar day written out, day and month in words', () => {
    const written = ["d 'de' MMMM 'de' yyyy", "'el' d 'de' MMMM 'del' yyyy", 'd MMM yyyy', 'yyyy-MM-dd']
    fc.assert(
      fc.property(
        at,
        zone,
        fc.integer({ min: 0, max: 3000 }),
        fc.constantFrom(...written),
        (now, where, back, format) => {
          const day = DateTime.fromMillis(now, { zone: where }).startOf('day').minus({ days: back })
          const text = day.toFormat(format, { locale: 'es' })
          const reading = readDate(text, { at: now, zone: where, language: 'es' })
          if (reading.kind !== 'between') throw new Error(`${text} was not read: ${reading.reason}`)
          expect(reading.earliest).toBe(day.toMillis())
          expect(reading.latest).toBe(Math.min(now, day.endOf('day').toMillis()))
        },
      ),
    )
  })

  it('a time as the bot itself shows it in Spanish, typed back, or it is asked about', () => {
    fc.assert(
      fc.property(
        at,
        zone,
        fc.nat(600),
        fc.constantFrom('12h' as const, '24h' as const),
        fc.constantFrom(clockText, clockSaid),
        (now, where, back, style, form) => {
          const then = instant(Math.floor((now - back * MINUTE) / MINUTE) * MINUTE)
          const text = form(then, where, style, 'es')
          const reading = readMoment(text, { at: now, zone: where, language: 'es' })
          if (!text.includes('cambio')) expect(reading.kind, text).toBe('between')
          if (reading.kind === 'between') expect(reading.earliest).toBeLessThanOrEqual(then)
        },
      ),
    )
  })
})

const VOCABULARY = (
  'creo que fue a la las 1 2 9 9:40 2140 25:00 y media cuarto menos para de del en por la noche manana mañana madrugada tarde mediodia medianoche ' +
  'hace desde entre o u un una dos tres unos unas hora horas minutos min dias semanas meses ano agosto 2025 lunes pasado pasada ayer anoche antier ' +
  'hoy esta no sino perdon mas menos casi poco despues antes pico ultima vez vi puesta encontre fuera durante toma ahora mismo recien rato - , . ½ ~'
).split(' ')

describe('whatever is typed in Spanish', () => {
  const soup = fc.array(fc.constantFrom(...VOCABULARY), { maxLength: 40 }).map(parts => parts.join(' '))
  const anything = fc.oneof(fc.string({ unit: 'grapheme', maxLength: 200 }), soup)

  it('is read or asked about, never ends after now, and begins on a whole minute', () => {
    fc.assert(
      fc.property(anything, at, zone, (text, now, where) => {
        const spoken = { at: now, zone: where, language: 'es', lastFeedStart: instant(now - 3_600_000) }
        const reading = readMoment(text, spoken)
        if (reading.kind === 'between') {
          expect(reading.earliest % MINUTE).toBe(0)
          expect(reading.earliest).toBeLessThanOrEqual(reading.latest)
          expect(reading.latest).toBeLessThanOrEqual(now)
        }
        const date = readDate(text, spoken)
        if (date.kind === 'between') {
          expect(localParts(date.earliest, where)).toMatchObject({ hour: 0, minute: 0 })
          expect(date.latest).toBeLessThanOrEqual(now)
        }
        const length = readDuration(text, spoken)
        if (length.kind === 'length') expect(length.atLeastMs).toBeLessThanOrEqual(length.atMostMs)
      }),
      { numRuns: 400 },
    )
  })

  it('a hedge never narrows: "como" before what is read is at least as wide', () => {
    const plain = [
      'hace 20 minutos',
      'hace una hora',
      'a la 1',
      'a las 9:40',
      'a las 11 de la noche',
      'hace 2 o 3 horas',
    ]
    fc.assert(
      fc.property(at, zone, fc.constantFrom(...plain), (now, where, text) => {
        const spoken = { at: now, zone: where, language: 'es' }
        const [sure, unsure] = [text, `como ${text}`].map(one => readMoment(one, spoken))
        if (sure?.kind !== 'between' || unsure?.kind !== 'between') return
        expect(unsure.earliest).toBeLessThanOrEqual(sure.earliest)
        expect(unsure.latest).toBeGreaterThanOrEqual(sure.latest)
      }),
    )
  })

  it('is read by Spanish rules alone, and English by English ones', () => {
    expect(readMoment('20 minutes ago', context).kind).toBe('ask')
    expect(readMoment('hace 20 minutos', { ...context, language: 'en' }).kind).toBe('ask')
    expect(readMoment('hace 20 minutos', { ...context, language: 'fr' }).kind).toBe('ask')
  })
})
