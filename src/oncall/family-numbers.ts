import type { Clinic, NumberToRing } from './clinic.ts'

/** Every number a family may be shown. */
export interface FamilyNumbers {
  readonly emergency: NumberToRing
  readonly clinic: NumberToRing
  /** For those who cannot bring the child. */
  readonly transport: NumberToRing
  readonly hospitals: readonly FamilyHospital[]
}

export interface FamilyHospital {
  readonly id: string
  readonly name: string
  readonly address: string
  readonly door?: string
  readonly number: NumberToRing
}

/**
 * The only source of numbers for anything made for a family. It copies field by field, so that a private number or a
 * page address cannot ride along whatever a clinic's record comes to hold.
 *
 * @param language  of whoever reads them; words are then in it where the clinic wrote them so
 */
export function familyNumbers(clinic: Clinic, language?: string): FamilyNumbers {
  return {
    emergency: publicNumber(clinic.numbers.emergency, language),
    clinic: publicNumber(clinic.numbers.familiesRing, language),
    transport: publicNumber(clinic.numbers.transport, language),
    hospitals: clinic.hospitals.map(hospital => ({
      id: hospital.id,
      name: hospital.name,
      address: hospital.address,
      ...(hospital.door === undefined ? {} : { door: hospital.doorIn?.[language ?? ''] ?? hospital.door }),
      number: publicNumber(hospital.familiesRing, language),
    })),
  }
}

function publicNumber(given: NumberToRing, reader: string | undefined): NumberToRing {
  const { number, hours, language } = given
  const words = given.wordsIn?.[reader ?? ''] ?? given.words
  return {
    number,
    ...(words === undefined ? {} : { words }),
    ...(hours === undefined ? {} : { hours }),
    ...(language === undefined ? {} : { language }),
  }
}

/**
 * Every private number and address in the clinic's file: what a search of anything made for a family must not find.
 * Board addresses are empty and left out.
 */
export function privateStrings(clinic: Clinic): readonly string[] {
  const found = new Set<string>()
  for (const { pageAt, privateNumber, knownAs = [] } of [...clinic.people, ...clinic.desks]) {
    for (const name of knownAs) if (name.includes('@')) found.add(name)
    for (const { address } of pageAt) found.add(address)
    if (privateNumber !== undefined) found.add(privateNumber)
  }
  for (const { handoverTo } of clinic.hospitals) for (const { address } of handoverTo) found.add(address)
  found.delete('')
  return [...found]
}
