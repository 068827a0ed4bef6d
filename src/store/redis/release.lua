-- Ends the leases that earlier owners left, as if their time were over; answers how many. Those of this one stay.
-- KEYS: prefix of the shard. ARGV: fence.
local shard = KEYS[1]
if redis.call('HGET', shard .. 'owner', 'fence') ~= ARGV[1] then return 'fenced' end
local count = 0
for _, lane in ipairs({ 'page', 'family' }) do
  local leased = shard .. 'leased:' .. lane
  for _, member in ipairs(redis.call('ZRANGE', leased, 0, -1)) do
    local key = shard .. 'row:' .. string.sub(member, 17)
    local row = redis.call('HMGET', key, 'rendered', 'due', 'by')
    if row[3] ~= ARGV[1] then
      if row[1] then redis.call('HSET', key, 'unknown', 1) end
      redis.call('HDEL', key, 'leased')
      redis.call('ZREM', leased, member)
      redis.call('ZADD', shard .. 'waiting:' .. lane, row[2], member)
      count = count + 1
    end
  end
end
return count
