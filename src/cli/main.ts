import { runCommand } from './commands.ts'

// Whoever reads may have seen enough (`| head`): that is no fault.
process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  if (error.code === 'EPIPE') process.exit(0)
  throw error
})
process.exitCode = await runCommand(process.argv.slice(2))
