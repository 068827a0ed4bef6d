/** Files and folders that a call names, looked at before the work begins: nobody waits for minutes to hear of a slip in a name. */
import { existsSync, lstatSync, statSync } from 'node:fs'
import { dirname } from 'node:path'
import { CalledWrongly } from './command.ts'
import { dataFiles } from './data-folder.ts'

/**
 * A file or folder that is to be written.
 * @throws CalledWrongly where something of its name is there, also a link to nothing, or the folder it belongs into is not
 */
export function toBeWritten(path: string): string {
  if (!isFolder(dirname(path))) throw new CalledWrongly(`${path}: there is no folder ${dirname(path)}: make it first`)
  if (lstatSync(path, { throwIfNoEntry: false }) !== undefined)
    throw new CalledWrongly(`${path} is there already: name another, or move it away first`)
  return path
}

/** @throws CalledWrongly where there is no such folder */
export function folderSaid(option: string, folder: string): string {
  if (!isFolder(folder)) throw new CalledWrongly(`${option} ${folder}: there is no such folder`)
  return folder
}

/**
 * The data folder of a bot: in any other folder, files of a new bot would be made by the mere looking.
 * @throws CalledWrongly where it is none
 */
export function dataFolderSaid(folder: string): string {
  folderSaid('--data', folder)
  if (!existsSync(dataFiles(folder).signingKeyFile))
    throw new CalledWrongly(
      `--data ${folder}: nothing of a bot is in it; the data folder that it serves from was expected`,
    )
  return folder
}

const isFolder = (path: string): boolean => existsSync(path) && statSync(path).isDirectory()
