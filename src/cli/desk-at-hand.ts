import { existsSync } from 'node:fs'
import { join } from 'node:path'
import type { Clinic } from '../oncall/clinic.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { openAccountFile } from '../store/sqlite/account-file.ts'
import { type ApprovalDesk, type Approver, approvalDesk, type Outcome } from './approval-desk.ts'
import { CalledWrongly, complain } from './command.ts'
import { dataFiles } from './data-folder.ts'
import { walkInProcess } from './flow-verdict.ts'

export interface DeskCall {
  readonly clinicDir: string
  readonly clinic: Clinic
  /** Id of the person, as said at the command line. */
  readonly by: string
  readonly data: string | undefined
  readonly flowsDir: string | undefined
}

/**
 * The desk for one act at the command line, by the person who is named there. Its line goes into the audit trail of the data
 * folder, where there is one here; a clinician who approves on a machine of their own has none, and the folder of approvals is the
 * record: the bot notes in its trail what it finds there.
 */
export async function atDesk(
  { clinicDir, clinic, by, data, flowsDir }: DeskCall,
  act: (desk: ApprovalDesk, who: Approver) => Promise<Outcome>,
): Promise<Outcome> {
  const clock = systemClock()
  const folder = data ?? join(process.cwd(), '.smallhours')
  const { signingKeyFile, accountsFile } = dataFiles(folder)
  const hasTrail = existsSync(signingKeyFile)
  if (data !== undefined && !hasTrail)
    throw new CalledWrongly(`--data ${data}: the data folder of the bot was expected`)
  const trail = hasTrail ? openAccountFile(accountsFile) : undefined
  const place = { clinicDir, ...(flowsDir === undefined ? {} : { flowsDir }) }
  const walk = walkInProcess(place)
  const desk = approvalDesk({
    ...place,
    now: () => clock.now(),
    walk: concern => {
      complain(`Walking "${concern}" against the safety rules. That takes from seconds to minutes.`)
      return walk(concern)
    },
    async note(line) {
      await trail?.change(line, [])
    },
  })
  const roles = clinic.people.find(({ id }) => id === by)?.roles ?? []
  try {
    return await act(desk, { personId: by, roles, isOnCall: false })
  } finally {
    await trail?.close()
  }
}
