-- Takes a case out of everything that goes on and puts a mark in the place of every content. Its event number moves on,
-- so that a step on its way conflicts: whoever owns the shard, nothing needs to be fenced.
-- KEYS: prefix of the shard. ARGV: case, mark, the mark as an event, at, reason.
local shard = KEYS[1]
local case, mark, event_mark, at, reason = unpack(ARGV)
local key = shard .. 'case:' .. case
local before = redis.call('HMGET', key, 'state', 'at')
if not before[1] or before[1] == mark then return 0 end

for _, field in ipairs(redis.call('HKEYS', key)) do
  if string.sub(field, 1, 6) == 'alarm:' then
    redis.call('HDEL', key, field)
    redis.call('ZREM', shard .. 'alarms', case .. '\0' .. string.sub(field, 7))
  end
end
redis.call('HINCRBY', key, 'seq', 1)
redis.call('HSET', key, 'state', mark, 'closed', 1)
redis.call('HDEL', key, 'operation')
redis.call('SREM', shard .. 'open', case)
redis.call('ZREM', shard .. 'closed', case)
redis.call('ZADD', shard .. 'erased', before[2], case)
for i = 1, redis.call('LLEN', shard .. 'events:' .. case) do
  redis.call('LSET', shard .. 'events:' .. case, i - 1, event_mark)
end

for _, id in ipairs(redis.call('LRANGE', shard .. 'rows:' .. case, 0, -1)) do
  local row_key = shard .. 'row:' .. id
  local row = redis.call('HMGET', row_key, 'status', 'lane', 'queue', 'place')
  redis.call('HSET', row_key, 'effect', mark)
  if redis.call('EXISTS', shard .. 'text:' .. id) == 1 then redis.call('SET', shard .. 'text:' .. id, mark) end
  if row[1] == 'waiting' then
    local lane, queue = row[2], shard .. 'queue:' .. row[2] .. ':' .. row[3]
    redis.call('HSET', row_key, 'status', 'given-up', 'settled', at, 'reason', reason)
    redis.call('HDEL', row_key, 'leased')
    redis.call('ZREM', shard .. 'waiting:' .. lane, row[4] .. id)
    redis.call('ZREM', shard .. 'leased:' .. lane, row[4] .. id)
    local was_head = redis.call('LINDEX', queue, 0) == id
    redis.call('LREM', queue, 1, id)
    local next_id = was_head and redis.call('LINDEX', queue, 0)
    if next_id then
      local next_row = redis.call('HMGET', shard .. 'row:' .. next_id, 'due', 'place')
      redis.call('ZADD', shard .. 'waiting:' .. lane, next_row[1], next_row[2] .. next_id)
    end
  end
end
return 1
