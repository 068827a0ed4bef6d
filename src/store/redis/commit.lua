-- One step of a case: event, case, rows that leave and alarms, all or nothing. Everything is looked at before the first
-- write, since a script that fails in the middle is not undone. One command for all rows or alarms where there is one.
-- KEYS: prefix of the shard. ARGV: fence, operation, case, channel, chat, from, at, closed, state, event, delivery (''
-- for none), how many names to cancel, those, how many alarms to set, name and due of each, then per row its effect id,
-- lane, queue, effect, not-before.
local shard = KEYS[1]
local fence, operation, case, channel, chat, from, at, closed, state, event, delivery = unpack(ARGV, 1, 11)
local key = shard .. 'case:' .. case
local before = redis.call('HMGET', key, 'operation', 'seq', 'channel', 'chat', 'closed')

-- The same command once more: its first answer was lost on the way.
if before[1] == operation then return 'committed' end
if redis.call('HGET', shard .. 'owner', 'fence') ~= fence then return 'fenced' end
if delivery ~= '' and redis.call('SISMEMBER', shard .. 'deliveries', delivery) == 1 then return 'duplicate' end
if (before[2] or '0') ~= from then return 'conflict' end
if before[2] and (before[3] ~= channel or before[4] ~= chat) then return 'other-chat' end

local cancels = tonumber(ARGV[12])
local sets = tonumber(ARGV[13 + cancels])
local first_row = 14 + cancels + 2 * sets
local rows, ids, taken = {}, {}, {}
for i = first_row, #ARGV, 5 do
  local effect_id = ARGV[i]
  if taken[effect_id] then return 'row-taken' end
  taken[effect_id] = true
  rows[#rows + 1] = shard .. 'row:' .. effect_id
  ids[#ids + 1] = effect_id
end
if #rows > 0 and redis.call('EXISTS', unpack(rows)) > 0 then return 'row-taken' end

if delivery ~= '' then redis.call('SADD', shard .. 'deliveries', delivery) end
if not before[2] then
  local opened = redis.call('HINCRBY', shard .. 'counts', 'opened', 1)
  redis.call('HSET', key, 'channel', channel, 'chat', chat, 'opened', opened)
  redis.call('RPUSH', shard .. 'chat:' .. channel .. '\n' .. chat, case)
end
local seq = tonumber(from) + 1
local fields = { 'operation', operation, 'seq', seq, 'closed', closed, 'at', at, 'state', state }
local alarms = {}
for i = 14 + cancels, first_row - 1, 2 do
  fields[#fields + 1] = 'alarm:' .. ARGV[i]
  fields[#fields + 1] = ARGV[i + 1]
  alarms[#alarms + 1] = ARGV[i + 1]
  alarms[#alarms + 1] = case .. '\0' .. ARGV[i]
end
-- Cancelling comes before setting.
for i = 13, 12 + cancels do
  redis.call('HDEL', key, 'alarm:' .. ARGV[i])
  redis.call('ZREM', shard .. 'alarms', case .. '\0' .. ARGV[i])
end
redis.call('HSET', key, unpack(fields))
if #alarms > 0 then redis.call('ZADD', shard .. 'alarms', unpack(alarms)) end
if closed == '1' then
  if before[5] ~= '1' then redis.call('SREM', shard .. 'open', case) end
  redis.call('ZADD', shard .. 'closed', at, case)
elseif before[5] ~= '0' then
  redis.call('SADD', shard .. 'open', case)
  redis.call('ZREM', shard .. 'closed', case)
end

redis.call('RPUSH', shard .. 'events:' .. case, event)
redis.call('RPUSH', shard .. 'instants:' .. case, at)

if #rows > 0 then
  local last = redis.call('HINCRBY', shard .. 'counts', 'place', #rows)
  redis.call('RPUSH', shard .. 'rows:' .. case, unpack(ids))
  for n, effect_id in ipairs(ids) do
    local lane, queue, effect, not_before = unpack(ARGV, first_row + 5 * n - 4, first_row + 5 * n - 1)
    local place = string.format('%016.0f', last - #rows + n)
    redis.call('HSET', rows[n], 'case', case, 'seq', seq, 'lane', lane, 'queue', queue, 'place', place, 'effect', effect,
      'due', not_before, 'tries', 0, 'unknown', 0, 'status', 'waiting')
    if redis.call('RPUSH', shard .. 'queue:' .. lane .. ':' .. queue, effect_id) == 1 then
      redis.call('ZADD', shard .. 'waiting:' .. lane, not_before, place .. effect_id)
    end
  end
end
return 'committed'
