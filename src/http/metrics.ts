import { createServer } from 'node:http'
import type { AddressInfo } from 'node:net'
import { DOUBTS, type Health } from '../runtime/watch-health.ts'
import type { Server } from './server.ts'

/** One figure, with what it means and when to act. */
interface Metric {
  readonly name: string
  readonly type: 'gauge' | 'counter'
  readonly help: string
  /** Values by label, as `{loop="pages"}`; an empty label for one value. */
  readonly values: readonly (readonly [label: string, value: number])[]
}

export interface ProcessFigures {
  readonly memoryBytes: number
  readonly aliveSeconds: number
}

/** Figures in the text format of Prometheus (its documentation, "Exposition formats", version 0.0.4). Names no child. */
export function metricsText(health: Health, process: ProcessFigures): string {
  return `${metricsOf(health, process).flatMap(linesOf).join('\n')}\n`
}

function metricsOf(health: Health, { memoryBytes, aliveSeconds }: ProcessFigures): readonly Metric[] {
  const { sinceLookMs, sharing } = health
  const gauge = (name: string, help: string, ...values: Metric['values']): Metric => ({
    name,
    type: 'gauge',
    help,
    values,
  })
  const doubted = new Set<string>(health.doubts.map(({ what }) => what))
  return [
    gauge(
      'ok',
      '1 while nothing keeps a family from an answer or a clinician from a page; wake somebody at 0 for a minute',
      ['', health.ok ? 1 : 0],
    ),
    gauge(
      'doubt',
      'what is in doubt now, 1 each; docs/operating/when-it-fails.md says what to do',
      ...DOUBTS.map((what): [string, number] => [`{what="${what}"}`, doubted.has(what) ? 1 : 0]),
    ),
    gauge(
      'messages_waiting',
      'messages of families not yet answered; above 500 they wait, above 1000 they are asked to come back',
      ['', health.queued],
    ),
    gauge('pages_under_way', 'pages being handed over; at 64 the lane is full', ['', health.pagesInFlight]),
    gauge('replies_under_way', 'replies being handed over; at 256 the lane is full', ['', health.repliesInFlight]),
    gauge(
      'outcomes_untold',
      'pages and replies whose case has not heard what became of them; it grows while the store fails',
      ['', health.untold],
    ),
    gauge(
      'loop_since_look_seconds',
      'time since each loop last looked at the store; above 5 it stands',
      ...Object.entries(sinceLookMs).map(([loop, ms]): [string, number] => [`{loop="${loop}"}`, ms / 1_000]),
    ),
    ...(sharing === undefined
      ? []
      : [
          gauge(
            'shards_owned',
            'parts of the cases this process acts for; their sum over the processes is smallhours_shards, else some wait for a lease to end',
            ['', sharing.owned],
          ),
          gauge('shards', 'parts the cases of the line are spread over', ['', sharing.shards]),
          gauge('processes', 'processes of the line that live, as this one heard', ['', sharing.processes]),
          {
            name: 'steps_kept_by_one_server_total',
            type: 'counter',
            help: 'steps answered though no replica had them in time: lost should that server die for good',
            values: [['', sharing.alone]],
          } as const,
          ...(sharing.replicas?.connected === undefined
            ? []
            : [
                gauge('replicas_wanted', "copies of each store server that the clinic's file wants", [
                  '',
                  sharing.replicas.wanted,
                ]),
                gauge(
                  'replicas_connected',
                  'copies of the store server that has fewest; below smallhours_replicas_wanted a server alone has what it is told',
                  ['', sharing.replicas.connected],
                ),
              ]),
        ]),
    gauge('memory_bytes', 'memory of the process', ['', memoryBytes]),
    gauge('alive_seconds', 'time since the process began; falls when it was started again', ['', aliveSeconds]),
  ]
}

function linesOf({ name, type, help, values }: Metric): readonly string[] {
  const full = `smallhours_${name}`
  return [
    `# HELP ${full} ${help}`,
    `# TYPE ${full} ${type}`,
    ...values.map(([label, value]) => `${full}${label} ${value}`),
  ]
}

/** Serves the figures to this machine only: they say when families write. */
export async function serveMetrics(port: number, text: () => Promise<string>): Promise<Server> {
  const server = createServer((request, response) => {
    if (request.method !== 'GET' || request.url !== '/metrics') {
      response.writeHead(404).end()
      return
    }
    text().then(
      figures => response.writeHead(200, { 'Content-Type': 'text/plain; version=0.0.4; charset=utf-8' }).end(figures),
      () => response.writeHead(503).end(),
    )
  })
  await new Promise<void>((resolve, reject) => {
    server.once('error', reject)
    server.listen(port, '127.0.0.1', resolve)
  })
  return {
    port: (server.address() as AddressInfo).port,
    stop: () =>
      new Promise(resolve => {
        server.close(() => resolve())
        server.closeAllConnections()
      }),
  }
}
