/** What stands in a transcript in place of names, numbers and ids. Passed in: how they are made takes the clinic's key. */
export interface Names {
  /** A case's id. */
  case(id: string): string
  /** A chat, by channel and name. */
  family(channel: string, chat: string): string
  /** Id of a person or desk. What a desk's becomes is whoever makes the names' to say. */
  person(id: string): string
  personName(name: string): string
  clinic(name: string): string
  /** A number the clinic shows. */
  number(number: string): string
  /** Free words of a family, or of a clinician. */
  words(said: string): string
  /** A family's number. The same number of one case has the same name, so that what is compared still is. */
  familyNumber(caseId: string, number: string): string
}

/** Stands where words were taken out. Not empty: nothing said is another thing than something that is not told. */
export const TAKEN_OUT = '[taken out]'

/** Keeps everything: for a clinic's own eyes, with a purpose named. */
export const KEEPS_ALL: Names = {
  case: id => id,
  family: (channel, chat) => `${channel}:${chat}`,
  person: id => id,
  personName: name => name,
  clinic: name => name,
  number: number => number,
  words: said => said,
  familyNumber: (_caseId, number) => number,
}
