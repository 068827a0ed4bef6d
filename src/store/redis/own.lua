-- Who acts for a shard, by a lease on the clock of Redis. Each taking raises the fence: scripts that write ask for it, so
-- that a process which slept past its lease changes nothing when it wakes.
-- KEYS: prefix of the shard. ARGV: `take`, `renew` or `leave`; who; lease in milliseconds; fence (not for `take`).
-- Answers with 1, the fence, when the owner before was last heard of ('' for never), now; or with 0.
local shard = KEYS[1]
local act, who, lease, fence = unpack(ARGV)
local key = shard .. 'owner'
local owner = redis.call('HMGET', key, 'who', 'fence', 'until', 'heard')
local time = redis.call('TIME')
local now = time[1] * 1000 + math.floor(time[2] / 1000)
local text = function(number) return string.format('%.0f', number) end

if act == 'take' then
  if owner[1] and owner[1] ~= '' and owner[1] ~= who and tonumber(owner[3]) > now then return { 0 } end
  -- With the name: a failover may lose a taking, and the next one must not count up to the same fence.
  local raised = text(redis.call('HINCRBY', key, 'takings', 1)) .. '.' .. who
  redis.call('HSET', key, 'who', who, 'fence', raised, 'until', text(now + lease), 'heard', text(now))
  return { 1, raised, owner[4] or '', text(now) }
end
if owner[1] ~= who or owner[2] ~= fence then return { 0 } end
if act == 'renew' then
  redis.call('HSET', key, 'until', text(now + lease), 'heard', text(now))
else
  redis.call('HSET', key, 'who', '', 'until', 0, 'heard', text(now))
end
return { 1, fence, '', text(now) }
