/** What a step reads beside its flow, as a transcript keeps it: the clinic's people, hours, rota and ladder, and its settings. */
import { type Line, type LineSettings, languagesOf } from '../case/line.ts'
import type { FlowSet } from '../flow/flow-set.ts'
import { catalogueOf } from '../flow/wording.ts'
import type { Clinic } from '../oncall/clinic.ts'
import type { Names } from './names.ts'
import type { EditionLine } from './transcript.ts'

/** The clinic as JSON: holidays as pairs, since a map is none. */
export type KeptClinic = Omit<Clinic, 'rota'> & {
  readonly rota: Omit<Clinic['rota'], 'holidays'> & { readonly holidays?: readonly (readonly [number, string])[] }
}

export interface Edition {
  readonly clinic: KeptClinic
  readonly settings: LineSettings
  readonly language: string
  readonly languages: readonly string[]
  /** Codes of languages in which there are a few fixed words. */
  readonly foreign: readonly string[]
  /** Concerns, the most urgent first. */
  readonly concerns: readonly string[]
}

/** The edition of a line. Private numbers and addresses are never in it: only how many addresses somebody has. */
export function editionOf(line: Line, names: Names): Edition {
  return {
    clinic: keptClinic(line.clinic, names),
    settings: line.settings,
    language: line.language,
    languages: languagesOf(line),
    foreign: [...(line.foreign?.keys() ?? [])],
    concerns: line.mostUrgentFirst ?? [...line.flows.flows.keys()],
  }
}

/**
 * The line that a transcript's step ran on, with flows that are brought along. Words in languages it does not speak are
 * empty: they are shown, and never decide.
 */
export function lineOfEdition(edition: Edition, flows: FlowSet, hashes?: ReadonlyMap<string, string>): Line {
  const { clinic, settings, language, languages, foreign, concerns } = edition
  return {
    flows,
    clinic: clinicOf(clinic),
    settings,
    language,
    languages,
    mostUrgentFirst: concerns,
    foreign: new Map(foreign.map(code => [code, catalogueOf(code, { say: '' })])),
    ...(hashes === undefined ? {} : { hashes }),
  }
}

/** The same edition with other names in it. */
export const renamed = (edition: Edition, names: Names): Edition => ({
  ...edition,
  clinic: keptClinic(clinicOf(edition.clinic), names),
})

/** As the ladder and the rota read it. */
export function clinicOf(clinic: KeptClinic): Clinic {
  const { holidays, ...rota } = clinic.rota
  return { ...clinic, rota: { ...rota, ...(holidays === undefined ? {} : { holidays: new Map(holidays) }) } }
}

/** The content of an `edition` line. Its shape was looked at where it was read. */
export const editionIn = ({ content }: Pick<EditionLine, 'content'>): Edition => content as unknown as Edition

export function keptClinic(clinic: Clinic, names: Names): KeptClinic {
  const reached = ({ pager }: { readonly pager: string }) => ({ pager, address: '' })
  const { holidays, ...rota } = clinic.rota
  const number = (ring: Clinic['numbers']['familiesRing']) => ({ number: names.number(ring.number) })
  return {
    name: names.clinic(clinic.name),
    zone: clinic.zone,
    clock: clinic.clock,
    demonstration: clinic.demonstration,
    familyLanguages: clinic.familyLanguages,
    staffLanguage: clinic.staffLanguage,
    numbers: {
      // What a whole country rings names nobody.
      emergency: { number: clinic.numbers.emergency.number },
      familiesRing: number(clinic.numbers.familiesRing),
      transport: number(clinic.numbers.transport),
    },
    hospitals: clinic.hospitals.map(hospital => ({
      id: hospital.id,
      name: names.clinic(hospital.name),
      familiesRing: number(hospital.familiesRing),
      address: '',
      canDo: [],
      handoverTo: [],
    })),
    people: clinic.people.map(person => ({
      kind: 'person',
      id: names.person(person.id),
      name: names.personName(person.name),
      job: person.job,
      clinician: person.clinician,
      ...(person.left === undefined ? {} : { left: person.left }),
      pageAt: person.pageAt.map(reached),
    })),
    desks: clinic.desks.map(desk => ({
      kind: 'desk',
      id: names.person(desk.id),
      name: names.person(desk.id),
      pageAt: desk.pageAt.map(reached),
    })),
    opening: clinic.opening,
    rota: {
      ...keptRota(rota, names),
      ...(holidays === undefined ? {} : { holidays: [...holidays].map(([day]) => [day, 'holiday'] as const) }),
    },
    ladder: clinic.ladder.map(rung => (rung.kind === 'role' ? rung : { ...rung, id: names.person(rung.id) })),
  }
}

function keptRota(rota: Omit<Clinic['rota'], 'holidays'>, names: Names): Omit<Clinic['rota'], 'holidays'> {
  const { roles, changes, swaps, leave, calendar } = rota
  const whose = <T extends { readonly who: string }>(one: T): T => ({ ...one, who: names.person(one.who) })
  const plain = <T extends { readonly why?: string }>({ why: _why, ...one }: T) => one
  return {
    roles: Object.fromEntries(Object.entries(roles).map(([role, shifts]) => [role, shifts.map(whose)])),
    changes: changes.map(change => plain(whose(change))),
    ...(swaps === undefined
      ? {}
      : { swaps: swaps.map(swap => ({ ...plain(swap), of: names.person(swap.of), to: names.person(swap.to) })) }),
    ...(leave === undefined ? {} : { leave: leave.map(one => plain(whose(one))) }),
    ...(calendar === undefined ? {} : { calendar: calendar.map(shift => ({ ...whose(shift), calendar: '' })) }),
  }
}
