-- Leases rows of a lane that are due, of each queue its oldest that waits. Those whose lease has ended are free again; what
-- was rendered under it may have been sent.
-- KEYS: prefix of the shard. ARGV: fence, operation, lane, at, leased until, limit. Answers with the rows, each as its
-- effect id, its fields, and its text.
local shard = KEYS[1]
local fence, operation, lane, at, leased_until, limit = unpack(ARGV)
if redis.call('HGET', shard .. 'owner', 'fence') ~= fence then return 'fenced' end

local waiting, leased, last = shard .. 'waiting:' .. lane, shard .. 'leased:' .. lane, shard .. 'claimed:' .. lane
local ids = {}
if redis.call('LINDEX', last, 0) == operation then
  -- The same command once more: its first answer was lost on the way.
  ids = redis.call('LRANGE', last, 1, -1)
else
  for _, member in ipairs(redis.call('ZRANGEBYSCORE', leased, '-inf', at)) do
    redis.call('ZREM', leased, member)
    redis.call('ZADD', waiting, redis.call('HGET', shard .. 'row:' .. string.sub(member, 17), 'due'), member)
  end
  for _, member in ipairs(redis.call('ZRANGEBYSCORE', waiting, '-inf', at, 'LIMIT', 0, limit)) do
    local id = string.sub(member, 17)
    local key = shard .. 'row:' .. id
    local row = redis.call('HMGET', key, 'leased', 'rendered')
    if row[1] and row[2] then redis.call('HSET', key, 'unknown', 1) end
    redis.call('HINCRBY', key, 'tries', 1)
    redis.call('HSET', key, 'leased', leased_until, 'by', fence)
    redis.call('ZREM', waiting, member)
    redis.call('ZADD', leased, leased_until, member)
    ids[#ids + 1] = id
  end
  if #ids > 0 then
    redis.call('DEL', last)
    redis.call('RPUSH', last, operation, unpack(ids))
  end
end

local rows = {}
for i, id in ipairs(ids) do
  rows[i] = { id, redis.call('HGETALL', shard .. 'row:' .. id), redis.call('GET', shard .. 'text:' .. id) }
end
return rows
