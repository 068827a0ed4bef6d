-- The processes that live, in the order of their names; the one that asks is written down for `lease` more milliseconds,
-- or is struck out with 0.
-- KEYS: prefix of the shard that keeps them. ARGV: who, lease in milliseconds.
local key = KEYS[1] .. 'members'
local time = redis.call('TIME')
local now = time[1] * 1000 + math.floor(time[2] / 1000)
redis.call('ZREMRANGEBYSCORE', key, '-inf', now)
if tonumber(ARGV[2]) > 0 then
  redis.call('ZADD', key, now + ARGV[2], ARGV[1])
else
  redis.call('ZREM', key, ARGV[1])
end
local names = redis.call('ZRANGE', key, 0, -1)
table.sort(names)
return names
