import type { Line } from '../case/line.ts'
import type { FigureNames } from '../review/figures.ts'

/** Concerns and questions as the clinic's people call them. */
export function figureNames(line: Line): FigureNames {
  // A question of one flow alone has its words there.
  const all = [line.flows, ...line.flows.flows.values()].flatMap(({ wording }) => wording.get(line.language) ?? [])
  const say = (id: string, otherwise: string) => all.find(wording => wording.has(id))?.text(id) ?? otherwise
  return {
    concern: id => say(`concern/${id}`, id),
    fact: id => say(`label/${id}`, id),
    outcome: id => say(`outcome/${id}`, id),
  }
}
